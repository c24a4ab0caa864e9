//! Forms as browsers send them without script, and texts within addresses.

use axum::http::HeaderMap;

use crate::plain_text::from_address as decoded;
pub(super) use crate::plain_text::in_address as encoded;

/// Fields of a form, in their order.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Fields(Vec<(String, String)>);

impl Fields {
    /// Reads a query, or a body of the kind `application/x-www-form-urlencoded`.
    pub(super) fn parse(text: &str) -> Fields {
        let pairs = text.split('&').filter(|pair| !pair.is_empty());
        let read = pairs.map(|pair| {
            let (name, value) = pair.split_once('=').unwrap_or((pair, ""));
            (decoded(name), decoded(value))
        });
        Fields(read.collect())
    }

    /// Value of a field without the space around it; empty where there is none.
    pub(super) fn get(&self, name: &str) -> &str {
        let found = self.0.iter().find(|(known, _)| known == name);
        found.map_or("", |(_, value)| value.trim())
    }

    /// Values of all fields of a name.
    pub(super) fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        self.0.iter().filter(move |(known, _)| known == name).map(|(_, value)| value.trim())
    }

    pub(super) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Value of a field that holds a whole number.
    pub(super) fn number(&self, name: &str) -> Option<u32> {
        self.get(name).parse().ok()
    }
}

/// Value of a cookie of this name, decoded; empty where there is none.
pub(super) fn cookie(headers: &HeaderMap, name: &str) -> String {
    let sent = headers.get_all("cookie").iter().filter_map(|value| value.to_str().ok());
    let mut pairs =
        sent.flat_map(|line| line.split(';')).filter_map(|pair| pair.trim().split_once('='));
    pairs.find(|(known, _)| *known == name).map(|(_, value)| decoded(value)).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_encoded_is_read_back() {
        for text in ["", "P 101", "Ä/7&b=%41+", "100 %", "<b>\"x\"</b>", "%", "%4", "%zz"] {
            let query = format!("a={}&b=1", encoded(text));
            let fields = Fields::parse(&query);
            assert_eq!((fields.get("a"), fields.number("b")), (text, Some(1)));
            assert!(encoded(text).is_ascii() && !encoded(text).contains(['&', '=', ' ', ';']));
        }
        let typed = Fields::parse("who=Kim+L%C3%B6w&note&what=bag&what=issue");
        assert_eq!((typed.get("who"), typed.get("note")), ("Kim Löw", ""));
        assert_eq!((typed.get("what"), typed.get("none")), ("bag", ""), "the first counts");
        assert_eq!(decoded("a%zz+%4"), "a%zz %4");
    }
}
