//! Exports as loggers write them, each quirk in a small file of its own.
#![allow(clippy::unwrap_used, clippy::float_cmp, reason = "a test that fails may panic, and exact numbers are meant exactly")]

mod account;
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
mod support;
mod times;
mod workbooks;
