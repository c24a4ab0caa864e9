//! Texts of inputs are texts: no element, no attribute, no script, no path of the machine.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use gapwright::choose::{choose, control::Control};
use gapwright::digest::sha256;
use gapwright::read;
use gapwright::verify::{Verified, verify};

use crate::html::{Piece, pieces};
use crate::outages::{ALL, sample};
use crate::page_of;

const HOSTILE: &str =
    "<script>alert(1)</script>\"'><img src=x onerror=alert(2)> & </style></svg> \u{1}";

/// The sample with a hostile text in every place that people write into.
fn hostile() -> Verified {
    let mut sources = sample("outage/stock.xlsx", "outage/pumps.xlsx");
    sources.stock = Path::new(env!("CARGO_MANIFEST_DIR")).join(sources.stock);
    let job = read::job(&sources).unwrap();
    let job = job
        .with(|parts| {
            for (at, pump) in parts.pumps.iter_mut().enumerate() {
                pump.tag = format!("{} {HOSTILE}", pump.tag);
                pump.note = Some(HOSTILE.into());
                pump.location = Some(HOSTILE.into());
                pump.carried = vec![(HOSTILE.into(), format!("{at} {HOSTILE}"))];
            }
            for lot in &mut parts.stock {
                lot.bin = Some(HOSTILE.into());
                lot.item = format!("{} {HOSTILE}", lot.item);
            }
            for model in &mut parts.models {
                model.title = HOSTILE.into();
                model.packs.iter_mut().for_each(|pack| pack.label = HOSTILE.into());
                model.dimensions.iter_mut().for_each(|dimension| dimension.label = HOSTILE.into());
                model.cautions.iter_mut().for_each(|caution| caution.text = HOSTILE.into());
            }
            for requirement in parts.pumps.iter_mut().flat_map(|pump| &mut pump.requirements) {
                requirement.label = HOSTILE.into();
            }
        })
        .unwrap();
    let plan = choose(&job, &Control::unlimited()).unwrap();
    verify(job, plan).unwrap()
}

/// Names of the elements and of the attributes of a page.
fn names(html: &str) -> [BTreeSet<String>; 2] {
    let mut names = [BTreeSet::new(), BTreeSet::new()];
    for piece in pieces(html) {
        if let Piece::Open(name, attributes) = piece {
            names[0].insert(name);
            names[1].extend(attributes.into_iter().map(|(name, _)| name));
        }
    }
    names
}

#[test]
fn a_hostile_text_is_a_text_wherever_it_stands() {
    let (hostile, clean) = (hostile(), &ALL[0].verified);
    let page = page_of(&hostile).html;
    let texts: String = pieces(&page)
        .iter()
        .filter_map(|piece| match piece {
            Piece::Text(text) => Some(text.as_str()),
            _ => None,
        })
        .collect();
    assert!(texts.matches("<script>alert(1)</script>").count() > 500);
    assert!(!page.contains("<script") && !page.contains('\u{1}'));
    assert!(page.contains('\u{2401}'), "a control character is shown as its picture");
    // No element and no attribute that the page of a clean plan does not have.
    let clean = names(&page_of(clean).html);
    for (hostile, clean) in names(&page).iter().zip(&clean) {
        let more: Vec<&String> = hostile.difference(clean).collect();
        assert!(more.is_empty(), "{more:?}");
    }
}

#[test]
fn nothing_runs_nothing_is_fetched_and_only_the_pages_own_style_holds() {
    for outage in ALL.iter() {
        let page = page_of(&outage.verified);
        let [elements, attributes] = names(&page.html);
        for no in ["script", "iframe", "object", "form", "base", "embed"] {
            assert!(!elements.contains(no), "{no}");
        }
        assert!(attributes.iter().all(|name| name != "style" && !name.starts_with("on")));
        let all = pieces(&page.html);
        let value = |element: &str, wanted: &str| {
            let open = all.iter().filter_map(|piece| match piece {
                Piece::Open(name, attributes) if name == element => Some(attributes),
                _ => None,
            });
            let of = |attributes: &Vec<(String, String)>| {
                attributes.iter().find(|(name, _)| name == wanted).map(|(_, value)| value.clone())
            };
            open.filter_map(of).collect::<Vec<String>>()
        };
        assert_eq!(value("html", "lang"), ["en"]);
        assert!(value("meta", "content").contains(&page.policy));
        for href in
            value("use", "href").iter().chain(&value("image", "href")).chain(&value("link", "href"))
        {
            assert!(href.starts_with('#') || href.starts_with("data:"), "{href}");
        }
        // The hash in the policy is that of the style between its tags.
        let style =
            &page.html[page.html.find("<style>").unwrap() + 7..page.html.find("</style>").unwrap()];
        let stated = page.policy.split("'sha256-").nth(1).unwrap().split('\'').next().unwrap();
        assert_eq!(hex_of(stated), sha256(style.as_bytes()));
        assert!(page.policy.starts_with("default-src 'none'"));
        assert!(!style.contains("url(") && !style.contains("@import"));
        // One heading of the first rank in each part, and no rank left out.
        assert_eq!(
            all.iter()
                .filter(|piece| matches!(piece, Piece::Open(name, _) if name == "main"))
                .count(),
            1
        );
        let ids = value("article", "aria-labelledby");
        let headings = value("h1", "id");
        assert_eq!(ids, headings);
    }
}

/// Base64, decoded by its definition.
fn hex_of(text: &str) -> String {
    let letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let bits: String = text
        .trim_end_matches('=')
        .chars()
        .map(|c| format!("{:06b}", letters.find(c).unwrap()))
        .collect();
    let bytes = bits.as_bytes().chunks_exact(8);
    bytes
        .map(|byte| {
            format!("{:02x}", u8::from_str_radix(std::str::from_utf8(byte).unwrap(), 2).unwrap())
        })
        .collect()
}

#[test]
fn no_path_of_the_machine_is_on_the_page() {
    let page = page_of(&hostile()).html;
    let here = env!("CARGO_MANIFEST_DIR");
    assert!(!page.contains(here) && !page.contains("stock.xlsx") && !page.contains("samples/"));
}

/// Letters on paper are nine points at least, and the figures that decide are fourteen.
#[test]
fn nothing_is_printed_smaller_than_nine_points() {
    let page = page_of(&ALL[0].verified).html;
    let style = &page[page.find("<style>").unwrap()..page.find("</style>").unwrap()];
    let (on_paper, _) = style.split_once("@media screen").unwrap();
    let mut sizes = 0;
    for rule in on_paper.split('}') {
        for declaration in rule.split(['{', ';']) {
            let Some(size) =
                declaration.strip_prefix("font-size:").or(declaration.strip_prefix("font:"))
            else {
                continue;
            };
            let points = size.split("pt").next().unwrap();
            let points: f64 = points.parse().unwrap_or_else(|_| panic!("not in points: {rule}"));
            assert!(points >= 9.0, "{rule}");
            if [".fig", ".word", ".accept .fig"]
                .iter()
                .any(|class| rule.trim_start().starts_with(class))
            {
                assert!(points >= 12.0, "{rule}");
            }
            sizes += 1;
        }
    }
    assert!(sizes > 10, "{sizes}");
    assert!(style.contains(".fig,.word{font-size:14pt}"));
}

/// Words on the drawings, at the width that their style gives them on paper.
#[test]
fn words_on_the_drawings_are_nine_points_at_the_width_that_they_are_printed() {
    const WIDE: f64 = 98.0;
    let (mut drawings, mut words, mut letters) = (BTreeSet::new(), 0, 0);
    for outage in ALL.iter() {
        let page = page_of(&outage.verified).html;
        for symbol in page.split("<symbol ").skip(1) {
            let symbol = symbol.split("</symbol>").next().unwrap();
            let view = symbol.split("viewBox=\"").nth(1).unwrap().split('"').next().unwrap();
            let unit: f64 = view.split(' ').nth(2).unwrap().parse().unwrap();
            // A shop's own picture is printed as it is.
            if symbol.contains("<image") {
                continue;
            }
            assert!(page.contains(&format!(".keyed{{float:left;width:{WIDE}mm;")));
            assert!(page.contains("<svg class=\"keyed\" role=\"img\""));
            let sizes = symbol.split("font-size=\"").skip(1);
            let sizes: Vec<f64> =
                sizes.map(|rest| rest.split('"').next().unwrap().parse().unwrap()).collect();
            assert!(!sizes.is_empty());
            for size in sizes {
                let points = size * WIDE / unit * 72.0 / 25.4;
                assert!(points >= 9.0, "{points}");
            }
            words += symbol.matches("<text ").count();
            letters += beside_their_labels(symbol, &page);
            drawings.insert(symbol.split("<title>").nth(1).unwrap().to_string());
        }
    }
    assert!(drawings.len() == 5 && words > 50, "{} drawings, {words} words", drawings.len());
    assert!(letters > 150, "{letters} letters beside labels");
}

/// How often a letter of a drawing stands beside its label on the slips of its model, which is never beside another's.
fn beside_their_labels(symbol: &str, page: &str) -> usize {
    let of_drawing: BTreeMap<&str, &str> = symbol
        .split("<g data-key=\"")
        .skip(1)
        .map(|group| {
            let (letter, rest) = group.split_once('"').unwrap();
            (letter, rest.split("<title>").nth(1).unwrap().split('<').next().unwrap())
        })
        .collect();
    assert!(of_drawing.len() >= 6, "{of_drawing:?}");
    let id = symbol.split("id=\"").nth(1).unwrap().split('"').next().unwrap();
    let slips = page.split("<article ").skip(1);
    let own = slips.filter(|slip| slip.contains(&format!("<use href=\"#{id}\"")));
    let mut seen = 0;
    for slip in own {
        let mut there = BTreeSet::new();
        for key in slip.split("<b class=\"key ").skip(1) {
            let (letter, rest) = key.split_once('>').unwrap().1.split_once("</b> ").unwrap();
            assert!(rest.starts_with(of_drawing[letter]), "{letter}: {}", &rest[..40]);
            there.insert(letter.to_string());
            seen += 1;
        }
        assert_eq!(there.len(), of_drawing.len(), "each letter is explained: {there:?}");
    }
    seen
}
