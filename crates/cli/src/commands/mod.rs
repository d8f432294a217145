//! One file a command.

pub(crate) mod completions;
pub(crate) mod convert;
pub(crate) mod design;
pub(crate) mod diagnose;
pub(crate) mod draft;
pub(crate) mod history;
pub(crate) mod inspect;
pub(crate) mod leak;
pub(crate) mod manual;
pub(crate) mod qualify;
pub(crate) mod recheck;
