//! Exports as loggers write them, each quirk in a small file of its own.
#![allow(
    clippy::unwrap_used,
    clippy::float_cmp,
    clippy::format_collect,
    clippy::disallowed_methods,
    reason = "a test that fails may panic, exact numbers are meant exactly, and small texts are built plainly"
)]

mod account;
mod aggregating;
mod dialects;
mod drafts;
mod errors;
mod joining;
mod layouts;
mod numbers;
mod properties;
mod quantities;
mod readings;
mod saving;
mod standing_still;
mod support;
mod times;
mod workbooks;
