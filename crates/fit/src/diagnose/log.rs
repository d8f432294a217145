//! What a working log holds, and what is known beside it.

use super::feature::Kind;

/// One logged channel.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Trace {
    /// Times in s, ascending, finite.
    pub time_s: Vec<f64>,
    /// Readings, as long as `time_s`, finite; for a censored reading the limit that it lies below.
    pub value: Vec<f64>,
    /// Whether each reading lies below the reporting limit; empty where none does.
    pub below_limit: Vec<bool>,
}

/// A working log: whichever channels exist, each on its own times.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Log {
    /// Oxygen in ppm.
    pub oxygen_ppm: Option<Trace>,
    /// Water in ppm.
    pub water_ppm: Option<Trace>,
    /// Pressure inside less that of the room, Pa.
    pub gauge_pressure_pa: Option<Trace>,
    /// Flow through the purifier, any unit.
    pub circulation_flow: Option<Trace>,
    /// Purifier: 0 off, 1 on; held until the next reading.
    pub purifier_on: Option<Trace>,
    /// Flow of make-up gas, m³/h.
    pub makeup_flow_m3_per_h: Option<Trace>,
    /// Transfers: 0 none, 1 under way, or events.
    pub transfer: Option<Trace>,
    /// Temperature of gas, wall or room, K.
    pub temperature_k: Option<Trace>,
    /// Water in the air of the room, ppm.
    pub room_water_ppm: Option<Trace>,
}

/// A number with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// The number.
    pub value: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
}

/// What is known of the enclosure beside its log. Everything is optional; what is absent gets a wide prior.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Background {
    /// Volume, m³.
    pub volume_m3: Option<f64>,
    /// Circulation flow by the plan, m³/h.
    pub purifier_flow_m3_per_h: Option<f64>,
    /// Mean water in the air of the room, ppm.
    pub room_water_ppm: Option<f64>,
    /// Water over oxygen that permeates gloves of this material in air, and the standard deviation of its logarithm.
    pub permeation_ratio: Option<(f64, f64)>,
    /// Standard uncertainty of the zero of the oxygen and the water analyser, ppm.
    pub zero_ppm: [Option<f64>; 2],
    /// Oxygen and water in the supplied gas, ppm.
    pub supply_ppm: [Option<Known>; 2],
    /// Time constant of the purifier by an earlier test, h.
    pub time_constant_h: Option<Known>,
    /// Ingress of oxygen and water by an earlier test, ppm/h.
    pub ingress_ppm_per_h: [Option<Known>; 2],
    /// Oxygen through leaks by an earlier leak test, ppm/h per Pa of under-pressure.
    pub leakage_ppm_per_h_per_pa: Option<Known>,
    /// What tests found while the log ran or after.
    pub tested: Vec<Tested>,
    /// What part of the oxygen's ingress came through leaks by an earlier test, 0 to 1.
    pub leak_share: Option<f64>,
}

/// What a test found at its time, which is evidence on the state of the enclosure then.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tested {
    /// Time on the log's clock, s; after the end of the log it counts as its end.
    pub time_s: f64,
    /// What: a rise in ppm/h, a decay rate in 1/h, or leakage in ppm/h per Pa.
    pub kind: Kind,
    /// The number.
    pub known: Known,
    /// Pressure below that of the room while it was measured, Pa; `None` where it was as in the log.
    pub under_pressure_pa: Option<f64>,
}

/// Oxygen or water.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Species {
    /// Oxygen.
    Oxygen,
    /// Water.
    Water,
}

impl Species {
    /// Both.
    pub const BOTH: [Self; 2] = [Self::Oxygen, Self::Water];

    /// Its place in pairs: oxygen first.
    #[must_use]
    pub fn index(self) -> usize {
        match self {
            Self::Oxygen => 0,
            Self::Water => 1,
        }
    }
}

impl Trace {
    /// Median interval between readings, s; `None` with fewer than two.
    #[must_use]
    pub fn interval_s(&self) -> Option<f64> {
        let mut steps: Vec<f64> = self.time_s.windows(2).map(|pair| pair[1] - pair[0]).filter(|s| *s > 0.0).collect();
        (!steps.is_empty()).then(|| super::robust::median_in_place(&mut steps))
    }

    /// Whether reading `index` lies below the reporting limit.
    #[must_use]
    pub fn is_below_limit(&self, index: usize) -> bool {
        self.below_limit.get(index).copied().unwrap_or(false)
    }
}

impl Log {
    /// The trace of a species.
    #[must_use]
    pub fn species(&self, species: Species) -> Option<&Trace> {
        match species {
            Species::Oxygen => self.oxygen_ppm.as_ref(),
            Species::Water => self.water_ppm.as_ref(),
        }
    }
}
