//! Two causes at once.

use super::tried::Tried;
use super::{Account, HOPELESS, PAIRED, Search, Weighed, ln_sum, prior_of};
use crate::diagnose::evidence::{Data, Fit};
use crate::diagnose::feature::Kind;
use crate::diagnose::hypothesis::Cause;
use crate::diagnose::model::{BASE, Change, Effect, PARAMETERS, Point, Vector, predict};

impl Search<'_> {
    /// Adds a second cause to the best explanations. The larger of the two gets the weight of the pair.
    pub(super) fn pairs(&self, data: &Data<'_>, tried: &[Tried]) -> Vec<Weighed> {
        let mut leaders: Vec<&Tried> = Vec::new();
        for cause in Cause::ALL {
            let own = tried.iter().filter(|tried| tried.hypothesis.cause == cause);
            leaders.extend(own.max_by(|a, b| a.ln_evidence.total_cmp(&b.ln_evidence)));
        }
        leaders.sort_by(|a, b| b.ln_evidence.total_cmp(&a.ln_evidence));
        let mut pairs = Vec::new();
        for (rank, first) in leaders.iter().enumerate().take(PAIRED) {
            for (other, second) in leaders.iter().enumerate() {
                let done = other < PAIRED && other < rank;
                if other != rank && !done {
                    pairs.extend(self.pair(data, first, second));
                }
            }
        }
        pairs
    }

    fn pair(&self, data: &Data<'_>, first: &Tried, second: &Tried) -> Option<Weighed> {
        let (onset_h, alone) = first.best()?;
        let moved = first.hypothesis.amplitudes.len();
        let amplitudes = moved + second.hypothesis.amplitudes.len();
        let mut prior = self.prior.clone();
        first.hypothesis.extend(&mut prior, BASE);
        second.hypothesis.extend(&mut prior, BASE + moved);
        let effect = second.hypothesis.moved(moved);
        let mut start = alone.theta;
        start[BASE + moved..BASE + amplitudes].copy_from_slice(&prior.mean[BASE + moved..BASE + amplitudes]);
        let tries = second.fits.iter().map(|(onset, _)| *onset).filter(|onset| self.onsets.contains(onset));
        let own_best = second.best().map(|(onset, _)| *onset);
        let mut best: Option<(Vec<Change>, Fit)> = None;
        let mut terms = Vec::new();
        for second_onset_h in tries.chain(own_best) {
            let changes = vec![
                first.change(*onset_h),
                Change { effect, profile: second.hypothesis.profile, onset_h: second_onset_h },
            ];
            let hopeless = best.as_ref().map_or(f64::MIN, |(_, best)| best.ln_evidence - HOPELESS);
            let fit = data.fit(&start, &changes, &prior, amplitudes, hopeless);
            terms.push(fit.ln_evidence);
            if best.as_ref().is_none_or(|(_, other)| fit.ln_evidence > other.ln_evidence) {
                best = Some((changes, fit));
            }
        }
        let (changes, fit) = best?;
        // The evidence of the first's onset is spread as it was alone.
        let spread = first.ln_evidence - alone.ln_evidence;
        let ln_evidence = ln_sum(&terms) - (terms.len() as f64).ln() + spread + second.hypothesis.ln_share;
        let sizes = [1, 0].map(|kept| self.strength(&fit.theta, &changes, &changes[kept..=kept]));
        let causes = [first.hypothesis.cause, second.hypothesis.cause];
        let larger = usize::from(sizes[1] > sizes[0]);
        let mut changes = changes;
        if larger == 1 {
            changes.swap(0, 1);
        }
        Some(Weighed {
            cause: causes[larger],
            ln_weight: prior_of(first.hypothesis.cause) + prior_of(second.hypothesis.cause) + ln_evidence,
            account: Account { theta: fit.theta, changes, prior, amplitudes },
            ln_best: fit.ln_evidence,
            onsets: Vec::new(),
            second: Some(causes[1 - larger]),
        })
    }

    /// How much less the rows change where only `kept` of the `changes` comes.
    fn strength(&self, theta: &Vector, changes: &[Change], kept: &[Change]) -> f64 {
        let mut nothing = [0.0; PARAMETERS];
        // A flow that is logged is known to every model; its fall lifts the floors all the same.
        let falls = changes.iter().filter(|change| !kept.contains(change)).map(|change| match change.effect {
            Effect::Flow(size) => theta[size].exp(),
            _ => 0.0,
        });
        let point = Point::from(theta);
        let mut largest = falls.fold(0.0_f64, f64::max);
        for stream in &self.features.streams {
            let mut mean = |changes: &[Change]| {
                let each = stream.rows.iter().filter(|row| row.time_h > 0.6 * self.setting.end_h);
                let (sum, n) = each.fold((0.0, 0.0), |(sum, n), row| {
                    (sum + predict(stream, row, &point, changes, self.setting, &mut nothing), n + 1.0)
                });
                if n > 0.0 { sum / n } else { 0.0 }
            };
            // What transfers bring counts less than what stands in the box all day.
            let worth = if matches!(stream.kind, Kind::Floor(_) | Kind::Rise(_)) { 1.0 } else { 0.5 };
            largest = largest.max(worth * (mean(changes) - mean(kept)).abs());
        }
        largest
    }
}
