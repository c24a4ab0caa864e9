//! Compares the drawings of the built-in models with the models themselves: every label is on them word by word, and
//! the drawn lengths add up as the model's requirements demand.

#![allow(clippy::unwrap_used, clippy::expect_used, missing_docs)]

use std::collections::BTreeMap;
use std::fs;

use toml::{Table, Value};

/// Name, model and drawing of every built-in model.
fn models() -> Vec<(String, Table, String)> {
    let mut found = Vec::new();
    for entry in fs::read_dir("models").unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|e| e != "toml") {
            continue;
        }
        let model: Table = fs::read_to_string(&path).unwrap().parse().unwrap();
        // The table of materials is not a model.
        if model.contains_key("pack") {
            let name = path.file_stem().unwrap().to_string_lossy().into_owned();
            let drawing = fs::read_to_string(path.with_extension("svg"))
                .unwrap_or_else(|_| panic!("no drawing of {name}"));
            found.push((name, model, drawing));
        }
    }
    assert!(found.len() >= 5, "{} models found", found.len());
    found
}

/// The labelled lengths of a drawing, in its own unit.
fn lengths(drawing: &str) -> BTreeMap<&str, f64> {
    let groups = drawing.split("<g data-length=\"").skip(1);
    groups
        .map(|group| {
            let (length, rest) = group.split_once('"').unwrap();
            let (_, rest) = rest.split_once("<title>").unwrap();
            let (label, _) = rest.split_once("</title>").unwrap();
            (label, length.parse().unwrap())
        })
        .collect()
}

/// Visible area of a drawing: left, top, width and height.
fn view(drawing: &str) -> [f64; 4] {
    let view = drawing.split("viewBox=\"").nth(1).unwrap();
    let numbers = view.split('"').next().unwrap().split(' ');
    let numbers: Vec<f64> = numbers.map(|n| n.parse().unwrap()).collect();
    numbers.try_into().unwrap()
}

/// Box of each labelled length, with room for a figure: left, top, right, bottom.
fn boxes(drawing: &str) -> BTreeMap<&str, [f64; 4]> {
    let groups = drawing.split("<g data-length=\"").skip(1);
    groups
        .map(|group| {
            let (_, rest) = group.split_once("<title>").unwrap();
            let (label, rest) = rest.split_once("</title>").unwrap();
            let [x, y, width, height] = ["x", "y", "width", "height"].map(|name| {
                let text = rest.split(&format!(" {name}=\"")).nth(1).unwrap();
                text.split('"').next().unwrap().parse::<f64>().unwrap()
            });
            (label, [x, y, x + width, y + height])
        })
        .collect()
}

/// A figure over another label could be read as that label's.
#[test]
fn no_label_lies_over_another_or_leaves_the_drawing() {
    let mut pairs = 0;
    for (name, _, drawing) in models() {
        let [left, top, width, height] = view(&drawing);
        let boxes: Vec<_> = boxes(&drawing).into_iter().collect();
        for (at, (label, a)) in boxes.iter().enumerate() {
            let inside =
                a[0] >= left && a[1] >= top && a[2] <= left + width && a[3] <= top + height;
            assert!(inside, "{name}: {label} at {a:?}");
            // Two lines of words, the name's and the figure's, have room.
            assert!(a[3] - a[1] >= 46.0, "{name}: {label} at {a:?}");
            for (other, b) in &boxes[at + 1..] {
                let apart = a[2] <= b[0] || b[2] <= a[0] || a[3] <= b[1] || b[3] <= a[1];
                assert!(apart, "{name}: {label} at {a:?}, {other} at {b:?}");
                pairs += 1;
            }
        }
    }
    assert!(pairs > 90, "{pairs}");
}

/// On the drawing of the slip each length has the letter of its place in the model file, at the same drawn length, and no
/// word is too small at 98 mm of width.
#[test]
fn a_letter_stands_for_each_length_on_the_drawing_of_the_slip() {
    for (name, _, drawing) in models() {
        let keyed = fs::read_to_string(format!("models/{name}.keyed.svg")).unwrap();
        let found: BTreeMap<char, (&str, f64)> = keyed
            .split("<g data-key=\"")
            .skip(1)
            .map(|group| {
                let (length, rest) =
                    group.split_once("data-length=\"").unwrap().1.split_once('"').unwrap();
                let label = rest.split("<title>").nth(1).unwrap().split('<').next().unwrap();
                let letter = rest.split("</text>").next().unwrap().chars().last().unwrap();
                assert!(group.starts_with(letter), "{name}: {group}");
                (letter, (label, length.parse().unwrap()))
            })
            .collect();
        let text = fs::read_to_string(format!("models/{name}.toml")).unwrap();
        let read = gapwright::read::parse_model(&name, &name, &text).unwrap();
        let wanted: Vec<(char, &str)> =
            ('A'..='Z').zip(read.lengths().map(|(_, _, label)| label)).collect();
        let own: Vec<(char, &str)> = found.iter().map(|(key, (label, _))| (*key, *label)).collect();
        assert_eq!(own, wanted, "{name}");
        let whole = lengths(&drawing);
        for (label, length) in found.values() {
            assert!((whole[label] - length).abs() < 1e-9, "{name}: {label}");
        }
        let [_, _, width, _] = view(&keyed);
        let sizes = keyed.split("font-size=\"").skip(1);
        for size in sizes.map(|rest| rest.split('"').next().unwrap().parse::<f64>().unwrap()) {
            assert!(size * 98.0 / width * 72.0 / 25.4 >= 9.0, "{name}: {size}");
        }
        assert!(!keyed.contains("href") && !keyed.contains(" style="), "{name}");
    }
}

/// Key and label of everything in the given sections, as far as the model has them.
fn labels<'a>(model: &'a Table, sections: &[&str]) -> BTreeMap<&'a str, &'a str> {
    let sections = sections.iter().filter_map(|name| model.get(*name));
    sections
        .flat_map(|section| section.as_table().unwrap())
        .map(|(key, value)| (key.as_str(), value["label"].as_str().unwrap()))
        .collect()
}

fn number(value: &Value) -> f64 {
    let whole = value.as_integer().map(|n| i32::try_from(n).unwrap());
    value.as_float().or(whole.map(f64::from)).unwrap()
}

#[test]
fn every_label_stands_on_the_drawing() {
    for (name, model, drawing) in models() {
        let wanted = labels(&model, &["dimension", "thermal", "pack", "requirement"]);
        let drawn = lengths(&drawing);
        let mut wanted: Vec<&str> = wanted.into_values().collect();
        wanted.sort_unstable();
        let drawn: Vec<&str> = drawn.into_keys().collect();
        assert_eq!(drawn, wanted, "{name}");
        let title = model["title"].as_str().unwrap();
        let heading = format!(r#"font-weight="bold">{title}</text>"#);
        assert!(drawing.contains(&heading), "{name} is headed otherwise");
    }
}

/// A pump's own figure is next to its label, nearer to it than to any other label.
#[test]
fn every_figure_stands_at_its_label() {
    let mut figures = 0;
    for (name, model, drawing) in models() {
        let view = view(&drawing);
        let wanted = labels(&model, &["dimension", "thermal", "pack", "requirement"]);
        let placed = model["figures"].as_table().unwrap();
        let keys: Vec<&str> = placed.keys().map(String::as_str).collect();
        let all: Vec<&str> = wanted.keys().copied().collect();
        assert_eq!(keys.len(), all.len(), "{name}");
        // The last line of each label, which may be split into several.
        let texts: Vec<(f64, f64, &str)> = drawing
            .split("<text x=\"")
            .skip(1)
            .map(|text| {
                let number = |text: &str| text.split('"').next().unwrap().parse::<f64>().unwrap();
                let y = text.split("y=\"").nth(1).unwrap();
                let words = text.split_once('>').unwrap().1.split('<').next().unwrap();
                (number(text), number(y), words)
            })
            .collect();
        for (key, label) in &wanted {
            let at: Vec<f64> = placed[*key].as_array().unwrap().iter().map(number).collect();
            let (x, y) = (view[0] + at[0] * view[2], view[1] + at[1] * view[3]);
            let beside = texts.iter().any(|(label_x, label_y, words)| {
                let is = label == words || label.ends_with(&format!(" {words}"));
                is && (x - label_x).abs() < 2.0 && (y - label_y - 20.0).abs() < 2.5
            });
            assert!(beside, "{name}: {key}");
            figures += 1;
        }
    }
    assert!(figures > 30, "{figures}");
}

/// Each linear requirement is the sum of its terms, each gasket's gap that of the gap's, as drawn. The drawings show
/// the pump cold: thermal terms count as 0 there.
#[test]
fn the_drawn_lengths_add_up_with_the_signs_of_the_model() {
    let mut sums = 0;
    for (name, model, drawing) in models() {
        let drawn = lengths(&drawing);
        let label = labels(&model, &["dimension", "pack"]);
        for (key, requirement) in model["requirement"].as_table().unwrap() {
            let terms = requirement.get("terms").or(requirement.get("gap"));
            let sum: f64 = terms
                .unwrap()
                .as_table()
                .unwrap()
                .iter()
                .filter_map(|(term, c)| Some(number(c) * drawn[label.get(term.as_str())?]))
                .sum();
            let shown = drawn[requirement["label"].as_str().unwrap()];
            assert!((sum - shown).abs() < 1e-9, "{name}, {key}: {sum} and {shown}");
            sums += 1;
        }
    }
    assert!(sums >= 11, "only {sums} requirements seen");
}

#[test]
fn the_drawings_can_be_read_and_stand_alone() {
    for (name, _, drawing) in models() {
        let sizes = drawing.split("font-size=\"").skip(1);
        let sizes: Vec<f64> =
            sizes.map(|rest| rest.split_once('"').unwrap().0.parse().unwrap()).collect();
        assert!(!sizes.is_empty() && sizes.iter().all(|&s| s >= 14.0), "{name}: {sizes:?}");
        // The name of the format is its only address; no outside file is used.
        assert_eq!(drawing.matches("://").count(), 1, "{name}");
        assert!(!drawing.contains("href") && !drawing.contains("@import"), "{name}");
        let png = fs::read(format!("models/{name}.png")).unwrap();
        assert!(png.len() < 60_000, "{name}.png has {} bytes", png.len());
        // Signature and, in the first chunk, the width (PNG specification, 5.2 and 11.2.2).
        assert_eq!(png[..8], *b"\x89PNG\r\n\x1a\n", "{name}.png");
        assert_eq!(png[16..20], 1400_u32.to_be_bytes(), "{name}.png");
    }
}
