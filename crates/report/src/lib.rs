//! Plans, verdicts, plots and dossiers of tightness tests.

pub mod catalogue;
pub mod data;
pub mod method;
pub mod plan;
mod qualify;
pub mod result;
mod verdict;

pub use qualify::{PROGRAM, Qualified, QualifyError, folders, qualify, read_plan};
