//! Subject of a page: a scratch copy of workbooks, or an outage file.

use std::path::Path;
use std::sync::Arc;

use maud::Markup;
use tokio::sync::watch;

use super::desk::{Act, By, Desk};
use super::ledger::LedgerBoard;
use super::parts::{Fresh, Part};
use crate::scratch::RefusedEdit;

/// Subject of a page.
#[derive(Clone)]
pub enum Subject {
    /// A scratch copy of two workbooks, or of those of an outage.
    WhatIf(Arc<Desk>),
    /// A running outage.
    Outage(Arc<LedgerBoard>),
}

impl From<Arc<Desk>> for Subject {
    fn from(desk: Arc<Desk>) -> Subject {
        Subject::WhatIf(desk)
    }
}

impl From<Arc<LedgerBoard>> for Subject {
    fn from(board: Arc<LedgerBoard>) -> Subject {
        Subject::Outage(board)
    }
}

impl Subject {
    /// Word for the script, which tells subjects apart by it.
    pub(super) fn word(&self) -> &'static str {
        match self {
            Subject::WhatIf(_) => "workbooks",
            Subject::Outage(_) => "outage",
        }
    }

    /// Desk of a scratch copy.
    pub(super) fn desk(&self) -> Option<&Desk> {
        match self {
            Subject::WhatIf(desk) => Some(desk),
            Subject::Outage(_) => None,
        }
    }

    pub(super) fn title(&self) -> String {
        match self {
            Subject::WhatIf(desk) => desk.title(),
            Subject::Outage(_) => "Running outage".into(),
        }
    }

    /// Path of the outage file that it is about.
    pub(super) fn outage_file(&self) -> Option<&Path> {
        match self {
            Subject::WhatIf(_) => None,
            Subject::Outage(board) => Some(board.path()),
        }
    }

    pub(super) fn news(&self) -> watch::Receiver<u64> {
        match self {
            Subject::WhatIf(desk) => desk.news(),
            Subject::Outage(board) => board.news(),
        }
    }

    pub(super) fn fresh(&self, since: u64) -> Fresh {
        match self {
            Subject::WhatIf(desk) => desk.fresh(since),
            Subject::Outage(board) => board.fresh(since),
        }
    }

    pub(super) fn board(&self) -> Markup {
        match self {
            Subject::WhatIf(desk) => desk.board(),
            Subject::Outage(board) => board.board(),
        }
    }

    pub(super) fn drawers(&self) -> Markup {
        match self {
            Subject::WhatIf(desk) => desk.drawers(),
            Subject::Outage(board) => board.drawers(),
        }
    }

    pub(super) fn pump(&self, row: u32) -> Option<Markup> {
        match self {
            Subject::WhatIf(desk) => desk.pump(row),
            Subject::Outage(_) => None,
        }
    }

    pub(super) fn pump_part(&self, row: u32) -> Option<Part> {
        match self {
            Subject::WhatIf(desk) => desk.pump_part(row),
            Subject::Outage(_) => None,
        }
    }

    pub(super) fn drawing(&self, model: usize) -> Option<Arc<[u8]>> {
        match self {
            Subject::WhatIf(desk) => desk.drawing(model),
            Subject::Outage(board) => board.record()?.drawing(model),
        }
    }

    /// Makes a change; `None` where nothing can be changed.
    pub(super) fn act(&self, act: &Act, by: &By) -> Option<Vec<RefusedEdit>> {
        match self {
            Subject::WhatIf(desk) => Some(desk.act(act, by)),
            Subject::Outage(_) => None,
        }
    }

    pub(super) fn plan(&self) {
        match self {
            Subject::WhatIf(desk) => desk.plan(),
            Subject::Outage(board) => {
                board.desks().filter(|desk| desk.is_wanted()).for_each(|desk| desk.plan());
            }
        }
    }

    /// Says that planning failed.
    pub(super) fn failed(&self) {
        match self {
            Subject::WhatIf(desk) => desk.failed(),
            Subject::Outage(board) => board.desks().for_each(|desk| desk.failed()),
        }
    }

    pub(super) fn look_at_disk(&self) {
        match self {
            Subject::WhatIf(desk) => desk.look_at_disk(),
            Subject::Outage(board) => board.look_at_disk(),
        }
    }

    pub(super) fn stop(&self) {
        match self {
            Subject::WhatIf(desk) => desk.stop(),
            Subject::Outage(board) => board.desks().for_each(|desk| desk.stop()),
        }
    }
}
