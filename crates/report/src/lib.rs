//! Plans, verdicts, plots and dossiers of tightness tests.

mod advice;
mod bench;
pub mod catalogue;
pub mod convert;
pub mod data;
pub mod design;
pub mod diagnose;
pub mod dossier;
pub mod history;
pub mod inspect;
mod markup;
pub mod method;
pub mod plan;
mod plot;
mod qualify;
pub mod recheck;
pub mod result;
pub mod schema;
pub mod text;
mod tightness_class;
mod verdict;
pub mod write;

pub use bench::LeakFlags;
pub use qualify::{PROGRAM, Qualified, QualifyError, folders, qualify, qualify_by_flags, read_plan};

/// Compiles and runs the Rust of the README.
#[cfg(doctest)]
#[doc = include_str!("../../../README.md")]
struct Readme;
