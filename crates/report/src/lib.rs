//! Plans, verdicts, plots and dossiers of tightness tests.

mod bench;
pub mod catalogue;
pub mod data;
pub mod inspect;
pub mod method;
pub mod plan;
mod qualify;
pub mod result;
pub mod text;
mod verdict;

pub use bench::LeakFlags;
pub use qualify::{PROGRAM, Qualified, QualifyError, folders, qualify, qualify_by_flags, read_plan};
