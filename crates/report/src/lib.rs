//! Plans, verdicts, plots and dossiers of tightness tests.
//!
//! ```
//! use tightfit_report::plan::Plan;
//! use tightfit_report::result::Verdict;
//! use tightfit_report::{folders, qualify};
//!
//! let text = r#"
//! tightfit = 1
//! [enclosure]
//! id = "K-12"
//! gas = "argon"
//! volume = "0.92 m3"
//! [[test]]
//! id = "tightness"
//! method = "pressure-change"
//! files = ["not-yet-exported.csv"]
//! reference_pressure = "-1000 Pa"
//! [[limit]]
//! set = "ISO 10648-2 class 1"
//! "#;
//! let plan = Plan::parse("plan.toml", text)?;
//! let qualified = qualify(plan, &folders("plan.toml".as_ref(), None), |test| assert_eq!(test, "tightness"));
//! // The file is not there: an input error, and no verdict.
//! assert_eq!(qualified.exit_code(), 2);
//! assert_eq!(qualified.result.verdicts[0].verdict, Verdict::NotValid);
//! # Ok::<(), tightfit_report::plan::PlanError>(())
//! ```

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
mod limit_set;
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
