//! Noise: what residuals look like and what follows for uncertainty.

mod local_level;
mod newey_west;
mod spikes;
mod state_space;
mod statistics;

pub use local_level::{LocalLevel, Path};
pub use newey_west::{StraightLine, newey_west_covariance, newey_west_lag, straight_line};
pub(crate) use spikes::{spikes, without_spikes};
pub use state_space::{NoiseModel, OrnsteinUhlenbeck, Whitened, innovations, whiten, whiten_columns};
pub use statistics::{durbin_watson, jarque_bera_p_value, lag1_autocorrelation, mean_and_standard_deviation, scatter};
