//! What is expected of a test that is still to be made: disturbance, risks, and how long it may take.

use tightfit_quantity::{Dimension, Quantity};

use super::mistake::Mistake;
use super::section::Section;

/// The section `[design]`.
#[derive(Debug, Clone, PartialEq)]
pub struct DesignPlan {
    /// How restless the room is.
    pub room: RoomClass,
    /// Standard deviation of a thermometer's slow wander against the mean gas, K.
    pub thermometer_wander_k: f64,
    /// Memory of that wander, s.
    pub wander_memory_s: f64,
    /// Time between readings, s.
    pub sampling_s: f64,
    /// Leak that a tight enclosure is expected to have, as a share of the limit.
    pub expected_share: f64,
    /// Largest probability that such an enclosure does not pass.
    pub producers_risk: f64,
    /// Longest test worth planning, s.
    pub longest_s: f64,
}

/// How restless a room is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum RoomClass {
    /// A cellar laboratory.
    Still,
    /// An air-conditioned laboratory.
    #[default]
    Ordinary,
    /// A workshop.
    Rough,
}

impl RoomClass {
    const ALL: [Self; 3] = [Self::Still, Self::Ordinary, Self::Rough];

    /// Its name in plans.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Still => "still",
            Self::Ordinary => "ordinary",
            Self::Rough => "rough",
        }
    }
}

impl Default for DesignPlan {
    fn default() -> Self {
        Self {
            room: RoomClass::Ordinary,
            thermometer_wander_k: 0.03,
            wander_memory_s: 1800.0,
            sampling_s: 10.0,
            expected_share: 0.5,
            producers_risk: 0.05,
            longest_s: 7.0 * 86_400.0,
        }
    }
}

impl DesignPlan {
    pub(super) fn read(section: &Section<'_>) -> Self {
        let usual = Self::default();
        let time = |key, usual, [low, high]: [f64; 2], expected| {
            let Some(time) = section.quantity(key, Dimension::Time) else { return usual };
            within(section, key, &time, time.si(), low <= time.si() && time.si() <= high, expected).unwrap_or(usual)
        };
        let share = |key, usual| {
            let Some(share) = section.quantity(key, Dimension::Ratio) else { return usual };
            let inside = share.si() > 0.0 && share.si() < 1.0;
            within(section, key, &share, share.si(), inside, "a share between 0 % and 100 %").unwrap_or(usual)
        };
        let design = Self {
            room: section
                .word("room", &RoomClass::ALL.map(RoomClass::name))
                .and_then(|word| RoomClass::ALL.into_iter().find(|class| class.name() == word))
                .unwrap_or_default(),
            thermometer_wander_k: wander(section).unwrap_or(usual.thermometer_wander_k),
            wander_memory_s: time("wander_memory", usual.wander_memory_s, [60.0, 86_400.0], "from a minute to a day"),
            sampling_s: time("sampling", usual.sampling_s, [0.1, 600.0], "from 0.1 s to 10 min"),
            expected_share: share("expected_share", usual.expected_share),
            producers_risk: share("producers_risk", usual.producers_risk),
            longest_s: time("longest", usual.longest_s, [900.0, 7.0 * 86_400.0], "from 15 min to a week"),
        };
        section.finish();
        design
    }
}

/// The wander is a difference of temperatures: `"0.03 K"` and `"0.03 °C"` say the same.
fn wander(section: &Section<'_>) -> Option<f64> {
    let key = "thermometer_wander";
    let quantity = section.any_quantity(key)?;
    match quantity.si_difference_of(Dimension::Temperature) {
        Ok(kelvin) => within(section, key, &quantity, kelvin, (0.0..=5.0).contains(&kelvin), "from 0 K to 5 K"),
        Err(error) => {
            section.note(key, Mistake::Quantity { key: key.to_owned(), error });
            None
        }
    }
}

fn within(
    section: &Section<'_>,
    key: &'static str,
    quantity: &Quantity,
    value: f64,
    inside: bool,
    expected: &'static str,
) -> Option<f64> {
    if inside {
        return Some(value);
    }
    let found = quantity.text().to_owned();
    section.note(key, Mistake::Impossible { key: key.to_owned(), found, expected });
    None
}
