//! Why oxygen or water rises: a working log explained by one mass balance whose parameters may change.
//!
//! The log is reduced to floors, rises, decays and doses (`feature`); each explanation is a change of one parameter of
//! the mass balance at a time to be found (`hypothesis`, `model`); explanations are compared by their evidence
//! (`evidence`, `compare`), and their probabilities calibrated on simulated logs (`calibrate`).
//! `notebooks-free-docs/method/diagnose.md` has the equations, `validation-diagnose.md` how well it does.

mod calibrate;
mod compare;
mod dose;
mod evidence;
mod feature;
mod grid;
mod hypothesis;
mod log;
mod model;
mod next;
mod noise;
mod regime;
mod result;
mod rhythm;
mod robust;
mod tested;
mod twins;

pub use feature::Kind;
pub use hypothesis::Cause;
pub use log::{Background, Known, Log, Species, Tested, Trace};
pub use next::{Measurement, Next, UNDER_PRESSURE_PA};
pub use result::{DiagnoseError, Diagnosis, Explanation, Resolution, Shown, diagnose, undecided};
pub use twins::twins;
