//! Parts of a page as they were rendered last, each with the version in which it changed.

/// A part of the page that is put in as a whole, by the `id` of its element.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Part {
    pub(super) id: String,
    pub(super) html: String,
    version: u64,
}

/// Answer to a window that knows a version.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Fresh {
    pub(super) version: u64,
    pub(super) parts: Vec<Part>,
    pub(super) planning: bool,
}

/// Parts, and the version of the newest.
#[derive(Debug, Default)]
pub(super) struct Parts {
    list: Vec<Part>,
    version: u64,
}

impl Parts {
    pub(super) fn version(&self) -> u64 {
        self.version
    }

    /// Takes parts as they are now; those that are not as they were get a new version.
    pub(super) fn take(&mut self, fresh: impl Iterator<Item = (String, String)>) {
        let next = self.version + 1;
        let before = std::mem::take(&mut self.list);
        for (at, (id, html)) in fresh.enumerate() {
            let same = before.get(at).filter(|part| part.id == id && part.html == html);
            let version = same.map_or(next, |part| part.version);
            self.list.push(Part { id, html, version });
        }
        if self.list.iter().any(|part| part.version == next) {
            self.version = next;
        }
    }

    /// HTML of a part; empty if there is none.
    pub(super) fn html(&self, id: &str) -> String {
        let found = self.list.iter().find(|part| part.id == id);
        found.map(|part| part.html.clone()).unwrap_or_default()
    }

    /// A part that is not kept, as of the version at hand.
    pub(super) fn of_now(&self, id: &str, html: String) -> Part {
        Part { id: id.to_string(), html, version: self.version }
    }

    /// Parts that changed after a version; all for a window that knows a later one than there is.
    pub(super) fn fresh(&self, since: u64, planning: bool) -> Fresh {
        let newer = |part: &&Part| part.version > since || since > self.version;
        let parts = self.list.iter().filter(newer).cloned().collect();
        Fresh { version: self.version, parts, planning }
    }
}
