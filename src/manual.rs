//! The manual for people who use the program: one page a subject.
//!
//! [`TOPICS`] lists the pages once. A page is a file of `src/manual`, shown three ways: on the terminal by
//! `gapwright help TOPIC`, here as a page of the documentation, and as the manual page `gapwright-TOPIC(7)` that
//! `gapwright man` writes. Every `$ gapwright ...` block of a page is run by `tests/manual`.

/// A page of the manual.
#[derive(Debug, Clone, Copy)]
pub struct Topic {
    /// The name that `gapwright help` asks for, which is the name of the file as well.
    pub name: &'static str,
    /// The page in Markdown (CommonMark with tables): its title, then its subject in one line.
    pub text: &'static str,
}

impl Topic {
    /// Its subject in one line, as the page gives it below its title.
    pub fn about(self) -> &'static str {
        self.text.lines().nth(2).unwrap_or_default().trim_end_matches('.')
    }
}

/// Declares every page as a module of the documentation and as a topic.
macro_rules! pages {
    ($($module:ident $name:literal)*) => {
        $(
            #[doc = include_str!(concat!("manual/", $name, ".md"))]
            pub mod $module {}
        )*

        /// The pages in the order in which they are listed.
        pub const TOPICS: &[Topic] = &[$(Topic {
            name: $name,
            text: include_str!(concat!("manual/", $name, ".md")),
        }),*];
    };
}

pages! {
    start "start"
    workbooks "workbooks"
    lengths "lengths"
    models "models"
    rules "rules"
    sheets "sheets"
    page "page"
    paper "paper"
    bench "bench"
    running "running"
    stack_up "stack-up"
    outage "outage"
    buying "buying"
    consumables "consumables"
    programs "programs"
    safety "safety"
    limits "limits"
}

/// The topic of this name.
pub fn topic(name: &str) -> Option<&'static Topic> {
    TOPICS.iter().find(|topic| topic.name == name)
}
