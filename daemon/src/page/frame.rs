//! What surrounds every page: the farm, the day, where one can go, the caution.

use askama::Template;

/// What surrounds a page.
#[derive(Debug, Clone, Default)]
pub(super) struct Frame {
    /// What the page is about.
    pub(super) title: String,
    /// The farm.
    pub(super) farm: String,
    /// The day it is looked at.
    pub(super) day: String,
    /// Where one can go.
    pub(super) links: Vec<Link>,
    /// Who looks.
    pub(super) who: Option<String>,
    /// When the view was made.
    pub(super) made: String,
    /// What is wrong with the whole.
    pub(super) trouble: Option<String>,
    /// The farm's own remark.
    pub(super) note: Option<String>,
    /// The caution.
    pub(super) caution: String,
}

/// A place to go to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Link {
    /// Where it leads.
    pub(super) to: String,
    /// What it is called.
    pub(super) words: String,
    /// Whether one is there.
    pub(super) is_here: bool,
}

/// One of several to choose from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Choice {
    /// What is sent.
    pub(super) value: String,
    /// What it is called.
    pub(super) words: String,
    /// Whether it is chosen.
    pub(super) is_chosen: bool,
}

/// A page that says one thing.
#[derive(Debug, Template)]
#[template(path = "page/note.html")]
pub(super) struct Note {
    pub(super) frame: Frame,
    pub(super) words: String,
}

impl Frame {
    /// Without a farm: it is not known whether whoever looks may know its name.
    pub(super) fn bare(title: &str) -> Self {
        Self {
            title: title.to_owned(),
            ..Self::default()
        }
    }
}
