//! What the analyser shows of a source: dilution, saturation and its first-order response.

/// Response of the readings to sources inside, at given times.
#[derive(Debug, Clone)]
pub(super) struct Forward {
    /// Mean time of the readings in each row, and their standard deviation about it.
    time_s: Vec<f64>,
    width_s: Vec<f64>,
    span_s: f64,
    lag_s: f64,
    /// Fine grid and its steps; empty where readings follow sources at once and nothing is lost.
    grid_s: Vec<f64>,
    steps: Vec<Step>,
}

/// What a step of the grid does to content and reading; the same for every source, so computed once.
#[derive(Debug, Clone, Copy)]
struct Step {
    /// Share of the content that is left after half the step.
    keep_half: f64,
    /// Next reading from the last one and from the content before and after the step, exact for a content that is
    /// linear over the step.
    reading: f64,
    before: f64,
    after: f64,
}

impl Step {
    fn new(width_s: f64, lag_s: f64, loss_per_s: f64) -> Self {
        let keep_half = (-0.5 * loss_per_s * width_s).exp();
        if lag_s <= 0.0 {
            return Self { keep_half, reading: 0.0, before: 0.0, after: 1.0 };
        }
        let keep = (-width_s / lag_s).exp();
        let mean = (1.0 - keep) * lag_s / width_s;
        Self { keep_half, reading: keep, before: mean - keep, after: 1.0 - mean }
    }
}

impl Forward {
    /// `time_s` counts from the start of the window; `loss_per_s` is the rate at which content is diluted or balanced.
    /// Rows are averages over readings with standard deviation `width_s` of their times.
    pub(super) fn new(
        time_s: &[f64],
        width_s: &[f64],
        span_s: f64,
        lag_s: f64,
        loss_per_s: Option<&dyn Fn(f64) -> f64>,
    ) -> Self {
        let lag_s = if lag_s > 1e-4 * span_s { lag_s } else { 0.0 };
        let mut forward = Self {
            time_s: time_s.to_vec(),
            width_s: width_s.to_vec(),
            span_s,
            lag_s,
            grid_s: Vec::new(),
            steps: Vec::new(),
        };
        if lag_s > 0.0 || loss_per_s.is_some() {
            let mut t = 0.0;
            while t < span_s {
                forward.grid_s.push(t);
                t += (span_s / 4000.0 + t / 80.0).min(span_s / 300.0);
            }
            forward.grid_s.push(span_s);
            forward.steps = forward
                .grid_s
                .windows(2)
                .map(|ends| {
                    let loss = loss_per_s.map_or(0.0, |rate| rate(0.5 * (ends[0] + ends[1])));
                    Step::new(ends[1] - ends[0], lag_s, loss)
                })
                .collect();
        }
        forward
    }

    pub(super) fn span_s(&self) -> f64 {
        self.span_s
    }

    /// Whether the readings have a transient of their own at the start.
    pub(super) fn has_lag(&self) -> bool {
        self.lag_s > 0.0
    }

    /// Readings of a content of 1 at the start and no source, the analyser settled.
    pub(super) fn start(&self) -> Vec<f64> {
        self.run(1.0, 1.0, &|_| 0.0)
    }

    /// Readings of an analyser that starts 1 too high with nothing there.
    pub(super) fn transient(&self) -> Vec<f64> {
        self.run(0.0, 1.0, &|_| 0.0)
    }

    /// Readings of a source, given by the amount it has released until each time.
    pub(super) fn source(&self, released: &dyn Fn(f64) -> f64) -> Vec<f64> {
        self.run(0.0, 0.0, released)
    }

    fn run(&self, content: f64, reading: f64, released: &dyn Fn(f64) -> f64) -> Vec<f64> {
        if self.grid_s.is_empty() {
            return self.averaged(&mut |t| content + released(t));
        }
        let (mut x, mut y) = (content, reading);
        let mut before = released(0.0);
        let mut shown = Vec::with_capacity(self.grid_s.len());
        shown.push(if self.lag_s > 0.0 { y } else { x });
        for (step, &time_s) in self.steps.iter().zip(&self.grid_s[1..]) {
            let now = released(time_s);
            let next = step.keep_half * (step.keep_half * x + now - before);
            y = step.reading * y + step.before * x + step.after * next;
            (x, before) = (next, now);
            shown.push(y);
        }
        let mut upper = 1;
        self.averaged(&mut |t| {
            // Times come nearly in order.
            while upper > 1 && self.grid_s[upper - 1] > t {
                upper -= 1;
            }
            while upper + 1 < self.grid_s.len() && self.grid_s[upper] < t {
                upper += 1;
            }
            let width = self.grid_s[upper] - self.grid_s[upper - 1];
            let fraction = ((t - self.grid_s[upper - 1]) / width).clamp(0.0, 1.0);
            shown[upper - 1] + fraction * (shown[upper] - shown[upper - 1])
        })
    }

    /// Averages over the readings of each row, by the two-point Gauss rule for evenly spread times.
    fn averaged(&self, at: &mut dyn FnMut(f64) -> f64) -> Vec<f64> {
        self.time_s
            .iter()
            .zip(&self.width_s)
            .map(
                |(&t, &width)| {
                    if width > 1e-4 * self.span_s { 0.5 * (at((t - width).max(0.0)) + at(t + width)) } else { at(t) }
                },
            )
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lagged_exponential_agrees_with_the_closed_form() {
        let (span, lag, tau) = (7200.0, 60.0, 1200.0);
        let times: Vec<f64> = (0..=72).map(|i| 100.0 * f64::from(i)).collect();
        let forward = Forward::new(&times, &[0.0; 73], span, lag, None);
        let shown = forward.source(&|t| 1.0 - (-t / tau).exp());
        for (t, y) in times.iter().zip(shown) {
            let exact = 1.0 - (tau * (-t / tau).exp() - lag * (-t / lag).exp()) / (tau - lag);
            assert!((y - exact).abs() < 2e-4, "{t} {y} {exact}");
        }
    }

    #[test]
    fn a_diluted_source_approaches_its_balance() {
        let (span, loss) = (36_000.0, 2e-4);
        let times: Vec<f64> = (0..=36).map(|i| 1000.0 * f64::from(i)).collect();
        let forward = Forward::new(&times, &[0.0; 37], span, 0.0, Some(&|_| loss));
        for (t, y) in times.iter().zip(forward.source(&|t| t)) {
            assert!((y - (1.0 - (-loss * t).exp()) / loss).abs() < 0.5, "{t} {y}");
        }
    }
}
