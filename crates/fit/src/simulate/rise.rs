//! Simulated rise of oxygen or water with purification off.

use super::Random;

/// What happens in a simulated run, and how it is seen. Contents in ppm, times in h or s as named.
#[derive(Debug, Clone, PartialEq)]
pub struct Rise {
    /// Duration in h.
    pub hours: f64,
    /// Time between readings in s.
    pub cadence_s: f64,
    /// Content at the start, ppm.
    pub start_ppm: f64,
    /// Steady ingress at zero content, ppm/h.
    pub ingress_ppm_per_h: f64,
    /// Share of the ingress that comes through leaks, which go as the pressure below the room's.
    pub leak_share: f64,
    /// Time constant in h with which the pressure nears the room's; infinite where it is held. The ingress is that at the
    /// mean pressure of the run.
    pub pressure_tau_h: f64,
    /// Content of the room's air, ppm.
    pub room_air_ppm: f64,
    /// Exponential outgassing: amount in ppm and time constant in h of each term.
    pub exponentials: Vec<[f64; 2]>,
    /// Power-law outgassing c·(1 + t/t₀)^(−n): rate at the start in ppm/h, t₀ in h, n.
    pub power_law: Option<[f64; 3]>,
    /// Exchange by gas fed in, 1/h, and its content in ppm.
    pub exchange: [f64; 2],
    /// Time constant of the analyser in s.
    pub response_tau_s: f64,
    /// Dead time of the sample line in s.
    pub dead_time_s: f64,
    /// Noise of a reading: floor in ppm and part relative to the content.
    pub noise: [f64; 2],
    /// Correlated noise: standard deviation in ppm and memory in s.
    pub wander: [f64; 2],
    /// Step of the readings in ppm; 0 for none.
    pub resolution_ppm: f64,
}

/// Readings of a simulated run.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct SimulatedRise {
    /// Times in s.
    pub time_s: Vec<f64>,
    /// Readings as mole fractions; nothing is censored here.
    pub reading: Vec<f64>,
    /// What the analyser would have shown without noise and rounding, as mole fractions.
    pub exact: Vec<f64>,
}

impl Rise {
    /// A run with an ingress, 1 ppm at the start and 0.1 ppm of noise, one reading a minute, nothing else.
    pub fn plain(hours: f64, ingress_ppm_per_h: f64) -> Self {
        Self {
            hours,
            cadence_s: 60.0,
            start_ppm: 1.0,
            ingress_ppm_per_h,
            leak_share: 0.0,
            pressure_tau_h: f64::INFINITY,
            room_air_ppm: 209_000.0,
            exponentials: Vec::new(),
            power_law: None,
            exchange: [0.0; 2],
            response_tau_s: 0.0,
            dead_time_s: 0.0,
            noise: [0.1, 0.0],
            wander: [0.0, 3600.0],
            resolution_ppm: 0.0,
        }
    }

    /// Draws readings.
    pub fn simulate(&self, seed: u64) -> SimulatedRise {
        let mut random = Random::new(seed);
        let (time_s, exact_ppm) = self.exact();
        let [floor, relative] = self.noise;
        let mut wander = self.wander[0] * random.normal();
        let reading = exact_ppm
            .iter()
            .map(|x| {
                wander = random.ornstein_uhlenbeck(wander, self.wander[0], self.wander[1], self.cadence_s);
                let noisy = x + wander + floor.hypot(relative * x) * random.normal();
                let shown = if self.resolution_ppm > 0.0 {
                    (noisy / self.resolution_ppm).round() * self.resolution_ppm
                } else {
                    noisy
                };
                shown * 1e-6
            })
            .collect();
        SimulatedRise { time_s, reading, exact: exact_ppm.iter().map(|x| x * 1e-6).collect() }
    }

    /// Times in s and what the analyser shows without noise, in ppm. Before the run the content stood still.
    pub fn exact(&self) -> (Vec<f64>, Vec<f64>) {
        let steps_per_reading = (self.cadence_s / 20.0).ceil().max(1.0);
        let step_h = self.cadence_s / 3600.0 / steps_per_reading;
        let readings = (self.hours * 3600.0 / self.cadence_s).round() as usize + 1;
        let mut content = vec![self.start_ppm];
        let total_steps = (readings - 1) * steps_per_reading as usize;
        for index in 0..total_steps {
            let t = index as f64 * step_h;
            let x = content[index];
            // Classical Runge-Kutta: the simulation shares no formula with the fit.
            let k1 = self.rate(t, x);
            let k2 = self.rate(t + 0.5 * step_h, x + 0.5 * step_h * k1);
            let k3 = self.rate(t + 0.5 * step_h, x + 0.5 * step_h * k2);
            let k4 = self.rate(t + step_h, x + step_h * k3);
            content.push(x + step_h / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4));
        }
        let late = (self.dead_time_s / 3600.0 / step_h).round() as usize;
        let keep = if self.response_tau_s > 0.0 { (-step_h * 3600.0 / self.response_tau_s).exp() } else { 0.0 };
        let mut shown = self.start_ppm;
        let every = steps_per_reading as usize;
        let (mut time_s, mut exact) = (Vec::with_capacity(readings), Vec::with_capacity(readings));
        for index in 0..=total_steps {
            shown = keep * shown + (1.0 - keep) * content[index.saturating_sub(late)];
            if index % every == 0 {
                time_s.push((index / every) as f64 * self.cadence_s);
                exact.push(shown);
            }
        }
        (time_s, exact)
    }

    fn rate(&self, t_h: f64, x: f64) -> f64 {
        let outgassing: f64 = self.exponentials.iter().map(|[a, tau]| a / tau * (-t_h / tau).exp()).sum();
        let tail = self.power_law.map_or(0.0, |[c, t0, n]| c * (1.0 + t_h / t0).powf(-n));
        let ingress = self.ingress_ppm_per_h * (1.0 - self.leak_share + self.leak_share * self.relative_drive(t_h));
        ingress * (1.0 - x / self.room_air_ppm) + outgassing + tail + self.exchange[0] * (self.exchange[1] - x)
    }

    /// Pressure below the room's at a time in h, over its mean of the run.
    pub fn relative_drive(&self, t_h: f64) -> f64 {
        if !self.pressure_tau_h.is_finite() {
            return 1.0;
        }
        let run = self.hours / self.pressure_tau_h;
        (-t_h / self.pressure_tau_h).exp() * run / -(-run).exp_m1()
    }

    /// Cramér-Rao bound of the ingress in ppm/h for the true model (start, ingress, amount and time constant of each
    /// exponential), white noise of known size.
    pub fn cramer_rao_ppm_per_h(&self) -> f64 {
        let (_, centre) = self.exact();
        let mut columns: Vec<Vec<f64>> = Vec::new();
        let mut vary = |change: &dyn Fn(&mut Self, f64)| {
            let step = 1e-4;
            let (mut up, mut down) = (self.clone(), self.clone());
            change(&mut up, step);
            change(&mut down, -step);
            let (up, down) = (up.exact().1, down.exact().1);
            columns.push(up.iter().zip(&down).map(|(a, b)| (a - b) / (2.0 * step)).collect());
        };
        vary(&|rise, d| rise.ingress_ppm_per_h += d);
        vary(&|rise, d| rise.start_ppm += d);
        for index in 0..self.exponentials.len() {
            vary(&|rise, d| rise.exponentials[index][0] *= 1.0 + d);
            vary(&|rise, d| rise.exponentials[index][1] *= 1.0 + d);
        }
        let rows: Vec<Vec<f64>> = (0..centre.len()).map(|i| columns.iter().map(|c| c[i]).collect()).collect();
        let weights: Vec<f64> = centre.iter().map(|x| 1.0 / self.noise[0].hypot(self.noise[1] * x).powi(2)).collect();
        let scaled = nalgebra::DMatrix::from_fn(rows.len(), columns.len(), |i, j| rows[i][j] * weights[i].sqrt());
        // R of the QR decomposition: the first element of (RᵀR)⁻¹ is the squared length of the first row of R⁻¹.
        let identity = nalgebra::DMatrix::identity(columns.len(), columns.len());
        scaled.qr().r().solve_upper_triangular(&identity).map_or(f64::NAN, |inverse| inverse.row(0).norm())
    }
}
