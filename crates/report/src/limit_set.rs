//! Limits that a plan names by a word instead of writing them out.

/// A limit of a standard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct LimitSet {
    /// What a plan writes after `set =`.
    pub(crate) name: &'static str,
    /// The result that it limits.
    pub(crate) quantity: &'static str,
    /// The largest value allowed, with its unit.
    pub(crate) max: &'static str,
    /// Where it comes from.
    pub(crate) source: &'static str,
}

/// All of them. Those of ISO 10648-2 are from memory of the standard, confirmed by public summaries of it; compare with a
/// copy before quoting them.
pub(crate) const LIMIT_SETS: &[LimitSet] = &[
    leak_rate("ISO 10648-2 class 1", "5e-4 1/h", "ISO 10648-2:1994, class 1"),
    leak_rate("ISO 10648-2 class 2", "2.5e-3 1/h", "ISO 10648-2:1994, class 2"),
    leak_rate("ISO 10648-2 class 3", "1e-2 1/h", "ISO 10648-2:1994, class 3"),
    leak_rate("ISO 10648-2 class 4", "1e-1 1/h", "ISO 10648-2:1994, class 4"),
];

const fn leak_rate(name: &'static str, max: &'static str, source: &'static str) -> LimitSet {
    LimitSet { name, quantity: "hourly_leak_rate", max, source }
}

#[cfg(test)]
mod tests {
    use tightfit_quantity::Quantity;

    use super::*;
    use crate::catalogue::result_kind;

    #[test]
    fn every_set_limits_a_known_result_in_a_unit_of_its_kind() {
        for set in LIMIT_SETS {
            let kind = result_kind(set.quantity).unwrap();
            assert!(Quantity::parse(set.max).unwrap().si_of(kind.dimension).is_ok(), "{}", set.name);
        }
    }
}
