//! Explanations that a log with few channels cannot tell apart in principle, whatever their probabilities came out as:
//! those differ then by what is usual, not by what the log shows.

use super::hypothesis::Cause;
use super::result::Resolution;

/// What a log that shows so much cannot tell a cause from, without itself; empty where it can.
#[must_use]
pub fn twins(cause: Cause, resolution: Resolution) -> Vec<Cause> {
    if resolution.both_species {
        return Vec::new();
    }
    let mut more_comes_in = vec![Cause::GlovePermeation];
    // A leak is known by the pressure that drives it, impure gas by the flow that brings it.
    if !resolution.pressure && !resolution.levels {
        more_comes_in.push(Cause::Leak);
    }
    if !resolution.makeup {
        more_comes_in.push(Cause::SupplyGas);
    }
    let mut less_goes_out = vec![Cause::PurifierCapacity];
    if !resolution.flow {
        less_goes_out.push(Cause::CirculationFlow);
    }
    // A moved zero is told from more that comes in by rises, and from a weaker purifier by decays.
    let groups = match (resolution.rises, resolution.decays) {
        (true, true) => vec![more_comes_in, less_goes_out],
        (false, true) => vec![with_drift(more_comes_in), less_goes_out],
        (true, false) => vec![more_comes_in, with_drift(less_goes_out)],
        (false, false) => vec![with_drift([more_comes_in, less_goes_out].concat())],
    };
    let own = groups.into_iter().find(|group| group.contains(&cause)).unwrap_or_default();
    own.into_iter().filter(|other| *other != cause).collect()
}

fn with_drift(mut causes: Vec<Cause>) -> Vec<Cause> {
    causes.push(Cause::AnalyserDrift);
    causes
}

#[cfg(test)]
mod tests {
    use super::*;

    const OXYGEN_ALONE: Resolution = Resolution {
        pressure: false,
        levels: false,
        under_pressure: false,
        rises: true,
        decays: true,
        flow: false,
        makeup: false,
        transfers: false,
        both_species: false,
    };

    #[test]
    fn oxygen_alone_does_not_tell_leak_gloves_and_gas_apart() {
        assert_eq!(twins(Cause::Leak, OXYGEN_ALONE), [Cause::GlovePermeation, Cause::SupplyGas]);
        assert_eq!(twins(Cause::CirculationFlow, OXYGEN_ALONE), [Cause::PurifierCapacity]);
        assert!(twins(Cause::NothingChanged, OXYGEN_ALONE).is_empty());
        assert!(
            twins(Cause::AnalyserDrift, OXYGEN_ALONE).is_empty(),
            "rises and decays show that nothing else changed"
        );
    }

    #[test]
    fn each_further_channel_sets_one_explanation_apart() {
        let with_pressure = Resolution { pressure: true, ..OXYGEN_ALONE };
        assert!(twins(Cause::Leak, with_pressure).is_empty());
        assert_eq!(twins(Cause::GlovePermeation, with_pressure), [Cause::SupplyGas]);
        let with_flow = Resolution { flow: true, ..OXYGEN_ALONE };
        assert!(twins(Cause::CirculationFlow, with_flow).is_empty());
        assert!(twins(Cause::Leak, Resolution { both_species: true, ..OXYGEN_ALONE }).is_empty());
    }

    #[test]
    fn a_floor_alone_tells_none_of_them_apart() {
        let without_rises = Resolution { rises: false, ..OXYGEN_ALONE };
        assert_eq!(twins(Cause::AnalyserDrift, without_rises).len(), 3);
        let floor = Resolution { rises: false, decays: false, ..OXYGEN_ALONE };
        assert_eq!(twins(Cause::AnalyserDrift, floor).len(), 5);
    }
}
