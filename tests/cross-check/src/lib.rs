//! Checks of found values against published ones, and the page that lists them all.
//!
//! A test opens a [`CrossCheck`] with a heading and a source, and compares values with it. When it goes out of scope it holds
//! the section of `notebooks-free-docs/cross-checks.md` under that heading against what was compared. With the
//! environment variable `TIGHTFIT_WRITE_CROSS_CHECKS` set it writes that section instead.
//!
//! The page says how closely each value was met, rounded up to two digits: last bits differ between machines, and a test
//! fails only where it does worse than the page says.

mod page;

use std::fmt::Write as _;
use std::panic::Location;

/// Comparisons of one test with one source.
#[derive(Debug)]
pub struct CrossCheck {
    heading: &'static str,
    source: &'static str,
    /// Path of the test from the top of the repository.
    test: String,
    rows: Vec<Row>,
}

/// Values of one quantity, compared in one way, some of them several times.
#[derive(Debug)]
struct Row {
    quantity: String,
    published: Vec<f64>,
    tolerance: Tolerance,
    /// Largest difference so far, in the terms of the tolerance.
    difference: f64,
}

/// What a difference is measured in, and how large it may be.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Tolerance {
    /// Difference over the published value; over one where that is zero.
    Relative(f64),
    /// Difference itself, in the unit of the quantity.
    Absolute(f64),
    /// Difference over something that the source or the result states, named here.
    Parts(f64, &'static str),
    /// Found values between two bounds; the difference is the relative one.
    Between(f64, f64),
}

impl CrossCheck {
    /// Opens the comparisons of the calling test under a `heading` of its own. `source` names the document, clause, table or
    /// data set, and says "from memory" where it is.
    #[must_use]
    #[track_caller]
    pub fn against(heading: &'static str, source: &'static str) -> Self {
        Self { heading, source, test: page::from_the_top(Location::caller().file()), rows: Vec::new() }
    }

    /// Fails unless `found` is `published` within a `tolerance` relative to it (absolute for zero).
    ///
    /// # Panics
    ///
    /// Where the two are further apart.
    #[track_caller]
    pub fn relative(&mut self, quantity: &str, found: f64, published: f64, tolerance: f64) {
        let scale = if published == 0.0 { 1.0 } else { published.abs() };
        let difference = (found - published).abs() / scale;
        self.add(quantity, found, published, difference, Tolerance::Relative(tolerance));
    }

    /// Fails unless `found` is `published` within `tolerance`, in their unit.
    ///
    /// # Panics
    ///
    /// Where the two are further apart.
    #[track_caller]
    pub fn absolute(&mut self, quantity: &str, found: f64, published: f64, tolerance: f64) {
        self.add(quantity, found, published, (found - published).abs(), Tolerance::Absolute(tolerance));
    }

    /// Fails unless `found` is `published` within `tolerance` times `(size, name)`, say the standard error that the source
    /// states.
    ///
    /// # Panics
    ///
    /// Where the two are further apart.
    #[track_caller]
    pub fn parts(
        &mut self,
        quantity: &str,
        found: f64,
        published: f64,
        tolerance: f64,
        (size, name): (f64, &'static str),
    ) {
        let difference = (found - published).abs() / size.abs();
        self.add(quantity, found, published, difference, Tolerance::Parts(tolerance, name));
    }

    /// Fails unless the interval, of 95 % unless the quantity says otherwise, holds the published value.
    ///
    /// # Panics
    ///
    /// Where it does not.
    #[track_caller]
    pub fn covered(&mut self, quantity: &str, [low, high]: [f64; 2], published: f64) {
        let (middle, half) = (f64::midpoint(low, high), (high - low) / 2.0);
        self.parts(quantity, middle, published, 1.0, (half, "half the interval"));
    }

    /// Fails unless `found` lies between two bounds about the published value; for what has several known reasons to differ.
    ///
    /// # Panics
    ///
    /// Where it does not.
    #[track_caller]
    pub fn between(&mut self, quantity: &str, found: f64, published: f64, [low, high]: [f64; 2]) {
        let difference = (found - published).abs() / published.abs();
        self.add(quantity, found, published, difference, Tolerance::Between(low, high));
    }

    #[track_caller]
    fn add(&mut self, quantity: &str, found: f64, published: f64, difference: f64, tolerance: Tolerance) {
        let agrees = match tolerance {
            Tolerance::Relative(most) | Tolerance::Absolute(most) | Tolerance::Parts(most, _) => difference <= most,
            Tolerance::Between(low, high) => (low..=high).contains(&found),
        };
        assert!(agrees, "{quantity}: found {found:e}, published {published:e}, tolerance {}", tolerance.words());
        let same = |row: &&mut Row| row.quantity == quantity && row.tolerance == tolerance;
        if let Some(row) = self.rows.iter_mut().find(same) {
            if !row.published.contains(&published) {
                row.published.push(published);
            }
            row.difference = row.difference.max(difference);
        } else {
            self.rows.push(Row { quantity: quantity.to_owned(), published: vec![published], tolerance, difference });
        }
    }

    /// The section of the page, with what was stated before where it still holds.
    fn section(&self, stated: &str) -> String {
        let mut text = format!("\n{}. Test: `{}`.\n\n", self.source, self.test);
        text += "| quantity | published | tolerance | agrees within |\n|---|---|---|---|\n";
        for row in &self.rows {
            let start = format!("| {} | {} | {} | ", row.quantity, published(&row.published), row.tolerance.words());
            let before = stated.lines().find_map(|line| line.strip_prefix(&start)?.strip_suffix(" |"));
            let difference = match before.and_then(|before| before.parse().ok().map(|bound: f64| (before, bound))) {
                Some((before, bound)) if still_holds(row.difference, bound) => before.to_owned(),
                _ => bound(row.difference),
            };
            let _ = writeln!(text, "{start}{difference} |");
        }
        text
    }
}

impl Drop for CrossCheck {
    fn drop(&mut self) {
        if !std::thread::panicking() {
            page::hold(self.heading, |stated| self.section(stated));
        }
    }
}

impl Tolerance {
    fn words(self) -> String {
        match self {
            Self::Relative(0.0) | Self::Absolute(0.0) => "exact".to_owned(),
            Self::Relative(most) => format!("{} of it", number(most)),
            Self::Absolute(most) => number(most),
            Self::Parts(most, name) => format!("{} × {name}", number(most)),
            Self::Between(low, high) => format!("{} to {}", number(low), number(high)),
        }
    }
}

/// A few values in full, many by their number and range.
fn published(values: &[f64]) -> String {
    const IN_FULL: usize = 4;
    if values.len() <= IN_FULL {
        return values.iter().map(|value| number(*value)).collect::<Vec<_>>().join(", ");
    }
    let low = values.iter().copied().fold(f64::INFINITY, f64::min);
    let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    format!("{} values, {} to {}", values.len(), number(low), number(high))
}

/// A number as it was written down, without the noise of its last bit.
fn number(value: f64) -> String {
    let value: f64 = format!("{value:.14e}").parse().unwrap_or(value);
    if value == 0.0 || (1e-4..1e7).contains(&value.abs()) { format!("{value}") } else { format!("{value:e}") }
}

/// A difference rounded up to two digits.
fn bound(difference: f64) -> String {
    let nearest: f64 = format!("{difference:.1e}").parse().unwrap_or(difference);
    let last_digit = 10f64.powf(difference.log10().floor() - 1.0);
    number(if nearest < difference { nearest + last_digit } else { nearest })
}

/// Whether a bound on the page is true of a difference; where only rounding is left it may differ by some digits.
fn still_holds(difference: f64, stated: f64) -> bool {
    const ROUNDING: f64 = 1e-13;
    const NEAR_ROUNDING: f64 = 1e-6;
    let slack = if stated < NEAR_ROUNDING { 10.0 } else { 1.0 };
    difference <= (slack * stated).max(ROUNDING)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(rows: &[(&str, f64, f64)]) -> String {
        let mut check = CrossCheck::against("of its own tests", "Made up");
        for (quantity, found, published) in rows {
            check.relative(quantity, *found, *published, 1e-3);
        }
        let section = check.section("| a | 2 | 0.001 of it | 5e-4 |\n| b | 2 | 0.001 of it | 1e-6 |");
        // The page knows nothing of this one.
        std::mem::forget(check);
        section
    }

    #[test]
    fn values_of_one_quantity_share_a_row_with_the_largest_difference() {
        let section = check(&[("c", 1.0, 1.0), ("c", 3.0009, 3.0), ("d", 5.0, 5.0)]);
        assert!(section.contains("\n| c | 1, 3 | 0.001 of it | 0.00031 |\n| d | 5 | 0.001 of it | 0 |\n"), "{section}");
    }

    #[test]
    fn what_the_page_says_stays_until_a_check_does_worse() {
        let section = check(&[("a", 2.0001, 2.0), ("b", 2.0001, 2.0)]);
        assert!(section.contains("| a | 2 | 0.001 of it | 5e-4 |"), "{section}");
        assert!(!section.contains("1e-6"), "{section}");
    }

    #[test]
    #[should_panic(expected = "found 2.01e0, published 2e0, tolerance 0.001 of it")]
    fn a_value_out_of_tolerance_fails() {
        check(&[("a", 2.01, 2.0)]);
    }

    #[test]
    fn differences_are_rounded_up() {
        assert_eq!([0.0, 1.21e-7, 3e-5, 9.96, 0.0501].map(bound), ["0", "1.3e-7", "3e-5", "10", "0.051"]);
    }
}
