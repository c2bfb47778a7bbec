//! Is there anything to listen to? A short look ten times a second, for the
//! filters of an ear cost more than all that is measured of a tone.

use rustfft::num_complex::Complex64;

use super::TONES_HZ;
use super::band::{Band, hz_of};
use super::message::SPEEDS;
use crate::signal::fir::History;

/// Time from look to look: a third of the shortest lead.
const STEP_S: f64 = 0.1;

/// A look ends each step. The band's filters need the first 11 ms of it to
/// forget the look before; what is left holds some 30 values.
const LOOK_S: f64 = 0.025;
const FORGETTING_S: f64 = 0.011;

/// How far back an ear begins that wakes: the 0.21 s of the lead that it needs
/// before the jump, and seven steps, for a look after the jump that falls on two
/// bits of the lower tone passes for the lead. Of bits at random four looks in
/// ten do, seven in a row once in 600 times.
const RECENT_S: f64 = 1.0;

/// A tone that is the same for longer than this is no lead, the slowest of
/// which lasts 0.56 s.
pub(super) const LEAD_LOOKS: u32 = 7;

/// A single tone, so far as so few values tell: an ear asks for 0.6 over a
/// lead, and hiss makes 0.2 on average. A choice that `--bench ident` judges; a
/// look too many costs time and nothing else.
const LONE: f64 = 0.4;

/// Least part of all sound that such a tone has, as powers: −30 dB, so that an
/// ident is heard beside hum or an offset up to 20 times as large. What the band
/// lets through of a test tone above 2 kHz is 60 dB below it.
const LEAST_PART: f64 = 0.001;

/// Frequencies further apart than this are two tones; the tones of an ident
/// are 1.5 apart.
const ANOTHER: f64 = 1.1;

/// Watches one channel for an ear that sleeps.
#[derive(Clone, Debug)]
pub(super) struct Doze {
    recent: History,
    band: Band,
    values: Vec<Complex64>,
    values_hz: f64,
    /// Sum of the squares of the samples that were looked at.
    energy: f64,
    step: usize,
    look: usize,
    /// Samples of this step so far.
    heard: usize,
    /// The lone tone of the look before, in hertz.
    tone_hz: Option<f64>,
}

impl Doze {
    /// For samples at this rate, and an ear with this band.
    pub(super) fn new(rate_hz: f64, band: Band) -> Self {
        let samples = |seconds: f64| (seconds * rate_hz) as usize;
        Self {
            recent: History::new(samples(RECENT_S)),
            values_hz: rate_hz / band.factor() as f64,
            band,
            values: Vec::new(),
            energy: 0.0,
            step: samples(STEP_S),
            look: samples(LOOK_S),
            heard: 0,
            tone_hz: None,
        }
    }

    /// Samples until the next look ends.
    pub(super) fn left(&self) -> usize {
        self.step - self.heard
    }

    /// Takes samples up to the end of a look at most. Where one ended: has a tone
    /// like that of a lead come, changed or gone since the look before?
    pub(super) fn push(&mut self, samples: &[f32]) -> Option<bool> {
        self.recent.extend(samples);
        let unseen = (self.step - self.look).saturating_sub(self.heard);
        if let Some(seen) = samples.get(unseen..) {
            self.band.push(seen, &mut self.values);
            self.energy += seen.iter().map(|x| f64::from(x * x)).sum::<f64>();
        }
        self.heard += samples.len();
        if self.heard < self.step {
            return None;
        }
        self.heard = 0;
        let now = self.lone_hz();
        let before = std::mem::replace(&mut self.tone_hz, now);
        self.values.clear();
        self.energy = 0.0;
        Some(match (before, now) {
            (Some(before), Some(now)) => !(1.0 / ANOTHER..ANOTHER).contains(&(now / before)),
            (before, now) => before.is_some() || now.is_some(),
        })
    }

    /// Frequency of the look, where it is that of a lead, or nearly.
    fn lone_hz(&self) -> Option<f64> {
        let forgotten = (FORGETTING_S * self.values_hz) as usize;
        let values = self.values.get(forgotten..)?;
        let mut turn = Complex64::default();
        let mut power = 0.0;
        for pair in values.windows(2) {
            turn += pair[1] * pair[0].conj();
            power += pair[1].norm_sqr();
        }
        let hz = hz_of(turn, self.values_hz);
        let lowest_hz = SPEEDS[0] * TONES_HZ[0] / ANOTHER;
        let is_lead = (lowest_hz..SPEEDS[1] * TONES_HZ[0] * ANOTHER).contains(&hz);
        // A tone of amplitude A has the mean square A²/2, and A² in the band.
        let part = power / values.len() as f64 / (2.0 * self.energy / self.look as f64);
        (is_lead && turn.norm() > LONE * power && part > LEAST_PART).then_some(hz)
    }

    /// The newest samples, oldest first.
    pub(super) fn recent(&self) -> &[f32] {
        self.recent.window()
    }
}
