//! The request in a workbook's part that all formulas be worked out again when it is opened.

use quick_xml::events::Event;

use super::super::archive::Trouble;
use super::cells::{Edit, Places, attributes, edited, name_of};

/// The part with the request; as it is where it asks already.
pub(super) fn asked_for(text: &str) -> Result<String, Trouble> {
    /// Elements that come before the settings of calculation.
    const BEFORE: [&str; 5] =
        ["sheets", "functionGroups", "externalReferences", "definedNames", "bookViews"];
    let mut places = Places::of(text);
    let mut root = None;
    let mut behind = None;
    let mut ended = false;
    loop {
        let (event, bytes) = places.next(ended)?;
        ended = matches!(event, Event::End(_) | Event::Empty(_));
        match event {
            Event::Start(_) if places.path.len() == 1 => root = Some(bytes),
            Event::Start(_) | Event::Empty(_) if places.is_at(&["calcPr"]) => {
                return Ok(edited(text, vec![with_request(text, bytes)]));
            }
            Event::End(_) | Event::Empty(_)
                if BEFORE.iter().any(|before| places.is_at(&[before])) =>
            {
                behind = Some(bytes.end);
            }
            Event::Eof => break,
            _ => {}
        }
    }
    let (Some(root), Some(behind)) = (root, behind) else {
        return Err(Trouble::Broken("it lists no sheets".into()));
    };
    let prefix = name_of(&text[root]).rsplit_once(':');
    let prefix = prefix.map_or(String::new(), |(prefix, _)| format!("{prefix}:"));
    let request = format!("<{prefix}calcPr fullCalcOnLoad=\"1\"/>");
    Ok(edited(text, vec![(behind..behind, request)]))
}

/// The settings of calculation with the request.
fn with_request(text: &str, bytes: std::ops::Range<usize>) -> Edit {
    let tag = &text[bytes.clone()];
    let places = attributes(tag);
    let there = places.iter().find(|(_, name, _)| *name == "fullCalcOnLoad");
    let edit = match there {
        Some((_, _, value)) => (value.clone(), "1".to_string()),
        None => {
            let end = places.last().map_or(1 + name_of(tag).len(), |(all, ..)| all.end);
            (end..end, " fullCalcOnLoad=\"1\"".to_string())
        }
    };
    (bytes, edited(tag, vec![edit]))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(text: &str) -> String {
        asked_for(text).unwrap_or_else(|_| panic!("{text}"))
    }

    #[test]
    fn the_request_is_made_once_and_in_its_place() {
        let book = |settings: &str| {
            format!(
                "<workbook><sheets><sheet name='calcPr'/></sheets>{settings}<pivotCaches/></workbook>"
            )
        };
        let with = book("<calcPr fullCalcOnLoad=\"1\"/>");
        assert_eq!(asked(&book("")), with);
        assert_eq!(asked(&with), with);
        assert_eq!(
            asked(&book("<calcPr fullCalcOnLoad='0'></calcPr>")),
            book("<calcPr fullCalcOnLoad='1'></calcPr>")
        );
        assert_eq!(
            asked(&book("<calcPr calcId=\"9\" calcMode='manual' />")),
            book("<calcPr calcId=\"9\" calcMode='manual' fullCalcOnLoad=\"1\" />")
        );
        assert_eq!(
            asked(
                "<x:workbook><x:sheets/><x:definedNames><x:definedName/></x:definedNames></x:workbook>"
            ),
            "<x:workbook><x:sheets/><x:definedNames><x:definedName/></x:definedNames><x:calcPr fullCalcOnLoad=\"1\"/></x:workbook>"
        );
        assert!(asked_for("<workbook/>").is_err());
    }
}
