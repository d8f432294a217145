//! Any text as a quantity, a unit, an uncertainty or a response time: no panic, and what is read says the same again.
#![no_main]

use libfuzzer_sys::fuzz_target;
use tightfit_quantity::{Dimension, Quantity, Response, Uncertainty, Unit};

fuzz_target!(|text: &str| {
    if let Ok(quantity) = Quantity::parse(text) {
        check(&quantity);
    }
    if let Ok(unit) = Unit::parse(text) {
        let again = Unit::parse(unit.symbol()).expect("a unit's symbol is a unit");
        assert_eq!((again.dimension(), again.scale()), (unit.dimension(), unit.scale()), "{text:?}");
    }
    if let Ok(uncertainty) = Uncertainty::parse(text) {
        assert!(uncertainty.relative() >= 0.0, "{text:?}");
        assert!(uncertainty.standard(1.0, Dimension::Pressure).is_ok_and(|u| u >= 0.0) || uncertainty.absolute(Dimension::Pressure).is_err(), "{text:?}");
    }
    if let Ok(response) = Response::parse(text) {
        assert!(response.tau_s >= 0.0 && response.tau_s.is_finite(), "{text:?}");
    }
});

fn check(quantity: &Quantity) {
    assert!(quantity.value().is_finite());
    let again = Quantity::parse(quantity.text()).expect("a quantity's text is a quantity");
    assert_eq!(again.si().to_bits(), quantity.si().to_bits());
    let unit = quantity.unit();
    let (value, back) = (quantity.value(), unit.from_si(quantity.si()));
    // An offset such as that of °C swallows what is small beside it; a product may leave the range of numbers.
    let offset = if unit.has_offset() { 1e3 } else { 0.0 };
    let in_range = value == 0.0 || (1e-250..1e250).contains(&value.abs());
    assert!(!in_range || (back - value).abs() <= 1e-12 * (value.abs() + offset), "{quantity}: {back}");
    let _ = quantity.display_si_like(quantity.si(), 6);
}
