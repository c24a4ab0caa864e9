//! Messages of the parser of TOML, in words that people use.

/// A parser's message without the names of its types: `integer 3, where a text belongs`.
pub(super) fn in_words(message: &str) -> String {
    const KINDS: [(&str, &str); 13] = [
        ("struct", "a table"),
        ("internally tagged enum", "a table"),
        ("a map", "a table"),
        ("a sequence", "a list"),
        ("a boolean", "true or false"),
        ("a string", "a text"),
        ("f64", "a number"),
        ("i32", "a whole number"),
        ("i64", "a whole number"),
        ("u8", "a whole number, 0 or more"),
        ("u32", "a whole number, 0 or more"),
        ("u64", "a whole number, 0 or more"),
        ("usize", "a whole number, 0 or more"),
    ];
    let message = message.trim().replace('\n', " ");
    let (said, at) = match message.split_once(" at line ") {
        Some((said, at)) => (said, format!(" at line {at}")),
        None => (message.as_str(), String::new()),
    };
    if said.contains("untagged enum") {
        return format!("a value that is neither a number nor a text{at}");
    }
    let parted = said
        .strip_prefix("invalid type: ")
        .or_else(|| said.strip_prefix("invalid value: "))
        .and_then(|rest| rest.split_once(", expected "));
    let Some((found, expected)) = parted else { return message };
    let kind = KINDS.iter().find(|(kind, _)| expected.starts_with(kind));
    let found = match found.split_once(' ').unwrap_or((found, "")) {
        ("string", text) => format!("the text {text}"),
        ("map", _) => "a table".into(),
        ("sequence", _) => "a list".into(),
        _ => found.to_string(),
    };
    format!("{found}, where {} belongs{at}", kind.map_or(expected, |(_, words)| words))
}

#[cfg(test)]
mod tests {
    use super::in_words;

    #[test]
    fn no_name_of_a_type_is_left() {
        for (said, words) in [
            ("invalid type: integer `3`, expected a string", "integer `3`, where a text belongs"),
            ("invalid type: string \"a\", expected f64", "the text \"a\", where a number belongs"),
            (
                "invalid type: map, expected struct PlanJson at line 1 column 2",
                "a table, where a table belongs at line 1 column 2",
            ),
            (
                "data did not match any variant of untagged enum Quantity",
                "a value that is neither a number nor a text",
            ),
            ("missing field `title`", "missing field `title`"),
        ] {
            assert_eq!(in_words(said), words);
        }
    }
}
