//! Simulated tests with known truth: for studies of coverage, for planning and for demonstration data.
//!
//! The physics is written out here independently of the estimators, which share no code with it.

mod analyser_check;
mod decision;
mod doses;
mod endurance;
mod hold;
mod make_up;
mod purge;
mod random;
mod regeneration;
mod rise;
mod room;
mod study;
mod tally;
mod vessel;
mod working_log;
mod years;

pub use analyser_check::AnalyserCheckRun;
pub use decision::{DecisionStudy, Decisions};
pub use doses::{Dose, Doses};
pub use endurance::{EnduranceRun, SimulatedEndurance};
pub use hold::{Disturbance, Hold, HoldTruth, SimulatedHold, ThermometerModel, VesselModel};
pub use make_up::MakeUpRun;
pub use purge::PurgeRun;
pub use random::Random;
pub use regeneration::{RegenerationCell, RegenerationRun, SimulatedRegeneration};
pub use rise::{Rise, SimulatedRise};
pub use room::{Room, Weather};
pub use study::{Outcome, evaluate_simulated, study};
pub use tally::Tally;
pub use vessel::{GaugeModel, LeakFlow, SimulatedVessel, Vessel, VesselStep};
pub use working_log::{Channels, SimulatedLog, WorkingLog};
pub use years::{Years, YearsOutcome, study_years};
