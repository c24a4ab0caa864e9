//! One list of problems: on the terminal, for programs, and marked in a copy of the workbooks.

#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

mod check;
mod mark;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::Command;
use gapwright::formats::problems::ProblemsJson;
use gapwright::problem::{MOST_LISTED, Severity};
use tempfile::TempDir;

const STOCK: &str = "samples/tiny/stock.csv";
const PUMPS: &str = "samples/tiny/pumps.csv";

/// A run in the project's folder.
fn gapwright(arguments: &[&str]) -> Output {
    let mut command = Command::cargo_bin("gapwright").unwrap();
    command.args(arguments).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).unwrap()
}

/// The list that a run gives on standard output, which holds only that.
fn json(run: &Output) -> ProblemsJson {
    let list: ProblemsJson = serde_json::from_slice(&run.stdout)
        .unwrap_or_else(|error| panic!("{error}: {} {}", text(&run.stdout), text(&run.stderr)));
    assert_eq!(list.format, "gapwright.problems.v2");
    assert_eq!(Some(i32::from(list.exit_status)), run.status.code());
    list
}

/// A folder with copies of the tiny sample, the stock spoilt in D3 and F6.
struct Shop(TempDir);

impl Shop {
    fn new() -> Shop {
        let shop = Shop(TempDir::new().unwrap());
        let stock = fs::read_to_string(STOCK).unwrap();
        let spoilt = stock.replace("0.020", "thin").replace("0.105,0.0005,1", "0.105,0.0005,-1");
        shop.write("stock.csv", &spoilt);
        shop.write("pumps.csv", &fs::read_to_string(PUMPS).unwrap());
        shop
    }

    fn write(&self, name: &str, text: &str) -> String {
        fs::write(self.path(name), text).unwrap();
        self.at(name)
    }

    fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    fn at(&self, name: &str) -> String {
        self.path(name).to_str().unwrap().to_string()
    }

    fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(self.0.path()).unwrap().flatten();
        let mut names: Vec<String> =
            entries.map(|entry| entry.file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }
}

#[test]
fn every_command_gives_the_list_to_programs() {
    let shop = Shop::new();
    let (stock, pumps, out) = (shop.at("stock.csv"), shop.at("pumps.csv"), shop.at("new.xlsx"));
    let commands: [&[&str]; 4] = [
        &["kit", &stock, &pumps, "--out", &out, "--problems", "json"],
        &["stack", &pumps, "--stock", &stock, "--out", &out, "--problems", "json"],
        &["check", &stock, &pumps, "--problems=json"],
        &["--problems", "json", "check", &stock],
    ];
    for arguments in commands {
        let run = gapwright(arguments);
        let list = json(&run);
        assert_eq!(list.exit_status, 2, "{arguments:?}");
        assert_eq!((list.counts.problems, list.counts.warnings, list.left_off), (2, 0, 0));
        assert!(list.written.is_empty() && list.warnings.is_empty());
        let [thin, minus] = &list.problems[..] else { panic!("{:?}", list.problems) };
        assert_eq!(thin.severity, Severity::Problem);
        assert_eq!((thin.file.as_str(), thin.sheet.as_deref()), (stock.as_str(), Some("stock")));
        assert_eq!((thin.cell.as_deref(), thin.row, thin.column), (Some("D3"), Some(3), Some(4)));
        assert_eq!(
            (minus.cell.as_deref(), minus.row, minus.column),
            (Some("F6"), Some(6), Some(6))
        );
        assert!(thin.line.is_none() && thin.found.contains("`thin`") && !thin.fix.is_empty());
        assert_eq!(text(&run.stderr), "", "the list is not said twice");
    }
    let run = gapwright(&["blank", &shop.at("new"), "--model", "no-such", "--problems", "json"]);
    let list = json(&run);
    assert_eq!((list.exit_status, list.problems.len()), (2, 1));
    assert_eq!((list.problems[0].file.as_str(), list.problems[0].row), ("command line", None));
    assert_eq!(shop.names(), ["pumps.csv", "stock.csv"]);
}

#[test]
fn the_list_is_given_when_all_is_well_too_and_says_what_was_written() {
    let shop = Shop::new();
    let (out, plan) = (shop.at("plan.xlsx"), shop.at("plan.json"));
    let kit = ["kit", STOCK, PUMPS, "--out", &out, "--json", &plan, "--problems", "json"];
    let run = gapwright(&kit);
    let list = json(&run);
    assert_eq!(list.exit_status, 0);
    assert_eq!(list.written, [out.clone(), plan.clone()]);
    assert!(list.problems.is_empty() && list.warnings.is_empty());
    // Text for people goes to the other stream.
    assert!(text(&run.stderr).contains("3 of 3 pumps can be kitted"));
    // The second run finds the file, which is a problem in the same list.
    let list = json(&gapwright(&kit));
    assert_eq!((list.exit_status, list.problems.len()), (3, 1));
    assert_eq!(list.problems[0].file, out);
    assert!(list.problems[0].found.contains("there already") && list.written.is_empty());
    let blank = json(&gapwright(&["blank", &shop.at("new"), "--problems", "json"]));
    assert_eq!((blank.exit_status, blank.written.len()), (0, 2));
}

#[test]
fn the_schema_is_that_of_the_list() {
    let shop = Shop::new();
    let schema = |format: &str| -> serde_json::Value {
        serde_json::from_slice(&gapwright(&["schema", format]).stdout).unwrap()
    };
    assert_eq!(schema("plan")["title"], "PlanJson");
    let schema = schema("problems");
    let run = gapwright(&["check", &shop.at("stock.csv"), PUMPS, "--problems", "json"]);
    let list: serde_json::Value = serde_json::from_slice(&run.stdout).unwrap();
    let same = |of: &serde_json::Value, schema: &serde_json::Value| {
        let known = schema["properties"].as_object().unwrap();
        let given = of.as_object().unwrap();
        assert!(given.keys().all(|key| known.contains_key(key)), "{given:?}");
        let required = schema["required"].as_array().unwrap();
        assert!(required.len() > 3);
        for key in required {
            assert!(given.contains_key(key.as_str().unwrap()), "{key}");
        }
    };
    same(&list, &schema);
    same(&list["problems"][0], &schema["$defs"]["ProblemJson"]);
}

#[test]
fn people_read_the_list_on_standard_error_alone() {
    let shop = Shop::new();
    let (stock, out) = (shop.at("stock.csv"), shop.at("plan.xlsx"));
    let run = gapwright(&["kit", &stock, PUMPS, "--out", &out]);
    assert_eq!(text(&run.stdout), "");
    let said = text(&run.stderr);
    let expected = [
        "problem  stock!D3\n",
        "S20,shim,F1,thin,0.0002,1,2.00,A2\n",
        "found     `thin`",
        "expected  a length",
        "fix       ",
        "problem  stock!F6\n",
    ];
    for words in expected {
        assert!(said.contains(words), "`{words}` in\n{said}");
    }
    // The caret is under the value.
    let lines: Vec<&str> = said.lines().collect();
    let at =
        lines.iter().position(|line| line.ends_with("S20,shim,F1,thin,0.0002,1,2.00,A2")).unwrap();
    let columns = |line: &str, part: &str| line[..line.find(part).unwrap()].chars().count();
    assert_eq!(columns(lines[at], "thin"), columns(lines[at + 1], "^"));
    assert!(said.ends_with("\n\n2 problems. Nothing was written.\n"), "{said}");
    assert!(!said.contains('\u{1b}'), "no colours where there is no terminal");
}

#[test]
fn a_line_of_a_model_file_is_shown_with_its_place() {
    let shop = Shop::new();
    fs::create_dir(shop.path("models")).unwrap();
    let model = fs::read_to_string("models/screwed-impeller.toml").unwrap();
    let model = model.replace("unit = \"in\"", "unit = \"furlong\"");
    shop.write("models/shop.toml", &model);
    let pumps = fs::read_to_string(PUMPS).unwrap().replace("screwed-impeller", "shop");
    let pumps = shop.write("pumps.csv", &pumps);
    let arguments = ["check", STOCK, &pumps, "--models", &shop.at("models")];
    let said = text(&gapwright(&arguments).stderr);
    let line = model.lines().position(|line| line.contains("furlong")).unwrap() + 1;
    assert!(said.contains(&format!("problem  line {line}, column ")), "{said}");
    assert!(said.contains("unit = \"furlong\"\n") && said.contains("^\n"), "{said}");
    let list = json(&gapwright(&[&arguments[..], &["--problems", "json"]].concat()));
    assert_eq!(list.problems[0].line, u64::try_from(line).ok());
    assert!(list.problems[0].column.is_some() && list.problems[0].cell.is_none());
}

#[test]
fn line_drawing_needs_a_locale_that_has_it() {
    let shop = Shop::new();
    let said = |locale: &str| {
        let mut command = Command::cargo_bin("gapwright").unwrap();
        let run = command.args(["check", &shop.at("stock.csv"), PUMPS]).env("LC_ALL", locale);
        text(&run.output().unwrap().stderr)
    };
    assert!(said("C.UTF-8").contains('─') && said("C.UTF-8").contains('│'));
    assert!(said("C").is_ascii(), "{}", said("C"));
}

/// On a terminal, made by `script` of util-linux: colours, unless they are not wanted, and lines that fit.
#[cfg(target_os = "linux")]
#[test]
fn a_terminal_has_colours_and_lines_that_fit() {
    let shop = Shop::new();
    let shown = |set: &str, columns: u32| {
        let program = env!("CARGO_BIN_EXE_gapwright");
        let (stock, pumps) = (shop.at("stock.csv"), shop.at("pumps.csv"));
        let line = format!(
            "stty cols {columns} rows 40; {set} {program} check {stock} {pumps} >/dev/null"
        );
        let mut script = Command::new("script");
        script.args(["-qec", &line, "/dev/null"]).env("LC_ALL", "C.UTF-8");
        // Variables of a build server count only where the test sets them.
        for variable in ["NO_COLOR", "CLICOLOR", "CLICOLOR_FORCE", "CI"] {
            script.env_remove(variable);
        }
        let run = script.env("TERM", "xterm").output().unwrap();
        text(&run.stdout).replace("\r\n", "\n")
    };
    let coloured = shown("", 100);
    assert!(
        coloured.contains("\u{1b}[31mproblem") && coloured.contains("2 problems."),
        "{coloured}"
    );
    for set in ["NO_COLOR=1", "TERM=dumb", "CI=true TERM=dumb"] {
        let plain = shown(set, 50);
        assert!(
            plain.contains("problem  stock!D3") && !plain.contains('\u{1b}'),
            "{set}: {plain:?}"
        );
        // The path of a file is never broken.
        let lines = plain.lines().filter(|line| !line.contains("stock.csv"));
        assert!(lines.clone().count() > 10);
        for line in lines {
            assert!(line.chars().count() <= 50, "{line}");
        }
        assert!(plain.contains("\n              "), "something was wrapped");
    }
}

#[test]
fn what_a_terminal_would_act_on_is_written_out() {
    let shop = Shop::new();
    let stock = fs::read_to_string(STOCK).unwrap();
    let hostile = "\u{1b}]0;owned\u{7}\u{1b}[2J\u{9b}31m\u{202e}";
    let stock = shop.write("stock.csv", &stock.replace("0.020", hostile));
    let run = gapwright(&["check", &stock, PUMPS]);
    let said = text(&run.stderr);
    assert_eq!(run.status.code(), Some(2));
    assert!(said.contains("\\u{1b}]0;owned\\u{7}"), "{said:?}");
    for output in [said, text(&gapwright(&["check", &stock, PUMPS, "--problems", "json"]).stdout)] {
        assert!(!output.contains(|c: char| (c.is_control() && c != '\n') || c == '\u{202e}'));
    }
    // An argument is not trusted either.
    let run = gapwright(&["kit", STOCK, PUMPS, "--\u{1b}[2J"]);
    assert!(!text(&run.stderr).contains('\u{1b}') && run.status.code() == Some(2));
}

/// 60,000 bad cells: the list is bounded, the counts are not, and a column is one block.
#[test]
fn a_great_many_problems_are_counted_and_not_all_listed() {
    let shop = Shop::new();
    let mut stock = "Item,Kind,Fit,Thickness (in),Tolerance (in),On hand\n".to_string();
    for row in 0..30_000 {
        stock.push_str(&format!("S{row},shim,F1,thin {row},0.0002,-1\n"));
    }
    let stock = shop.write("stock.csv", &stock);
    let list = json(&gapwright(&["check", &stock, "--problems", "json"]));
    assert_eq!(list.problems.len(), MOST_LISTED);
    assert_eq!(list.counts.problems, 60_000);
    assert_eq!(list.left_off, 40_000);
    let said = text(&gapwright(&["check", &stock]).stderr);
    assert!(said.lines().count() < 40, "{said}");
    assert!(said.contains("and 9997 more in column D, rows 5 to 10001"), "{said}");
    let total =
        format!("60000 problems (20000 in {stock}, 40000 more not listed). Nothing was written.\n");
    assert!(said.ends_with(&total), "{said}");
}

#[test]
fn the_command_line_is_listed_like_everything_else() {
    let shop = Shop::new();
    let out = shop.at("s.xlsx");
    let list = json(&gapwright(&["kit", STOCK, PUMPS, "--forced", "--problems", "json"]));
    assert_eq!((list.exit_status, list.problems[0].file.as_str()), (2, "command line"));
    assert!(
        list.problems[0].found.contains("--forced") && list.problems[0].fix.contains("--force")
    );
    let stack = ["stack", PUMPS, "--out", &out, "--problems", "json"];
    let wrong = ["--pack", "bearing=0.02 +/- 0.001", "--sweep", "bare = 1", "--pump", "A"];
    let list = json(&gapwright(&[&stack[..], &wrong].concat()));
    assert!(list.problems.iter().all(|problem| problem.file == "command line"));
    let found = |words: &str| list.problems.iter().any(|problem| problem.found.contains(words));
    assert!(found("--sweep"), "{:?}", list.problems);
    let wrong = ["--pack", "bearing=0.02 +/- 0.001", "--pump", "A"];
    let list = json(&gapwright(&[&stack[..], &wrong].concat()));
    assert!(list.problems[0].found.contains("--pack bearing"), "{:?}", list.problems);
    assert!(!Path::new(&out).exists());
}
