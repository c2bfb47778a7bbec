//! From a measured time to the [`Measurement`] with its ± and cautions.

use std::f64::consts::TAU;

use super::listening::Listening;
use crate::readings::caution::Caution;
use crate::readings::conditions::Conditions;
use crate::readings::expanded::Expanded;
use crate::readings::measurement::Measurement;
use crate::readings::values::{ChannelUsed, Problem, SpeedFigures};
use crate::readings::without_tone::{self, Heard};
use crate::signal::timed::envelope::SILENCE;
use crate::units::{Decibels, Hertz, Percent, Seconds};

/// Sound that stands less above the noise is called noisy.
const LOW_SNR: Decibels = Decibels(20.0);

/// Most that the speed may be off, in percent: faster or slower is another
/// reference. Practice, no source.
pub(super) const FARTHEST: f64 = 25.0;

/// What a few moments cannot tell of the wow that they were played with is
/// assumed: lines of percent, peak, at hertz, more than most
/// machines that are worth setting have. Common practice, no source.
const WOW: [[f64; 2]; 2] = [[0.3, 0.5], [0.05, 0.1]];

/// How far that moves the tape at any one moment against its mean, in seconds
/// (one standard deviation): a line of peak p at f moves it by p / 2πf, peak,
/// and moments come at any phase of it.
pub(super) fn assumed_wow_s() -> f64 {
    let square: f64 = WOW
        .iter()
        .map(|[percent, hz]| (percent / 100.0 / (TAU * hz)).powi(2) / 2.0)
        .sum();
    square.sqrt()
}

/// A time that was measured, its 95 % parts in seconds.
pub(super) struct Timed {
    pub measured: Seconds,
    pub expected: Seconds,
    /// Noise and edges.
    pub noise_s: f64,
    /// Wow and scatter.
    pub wow: Expanded,
}

/// How strong the reference is.
#[derive(Clone, Copy)]
pub(super) struct Strength {
    pub channel: ChannelUsed,
    pub level: Option<Decibels>,
    pub snr: Option<Decibels>,
}

impl Strength {
    /// Of what was not found.
    pub fn unknown(heard: &Listening) -> Self {
        Self {
            channel: heard.channel(None),
            level: None,
            snr: None,
        }
    }
}

/// A power above the noise; `None` where there is none but what rounding leaves
/// of digital silence.
pub(super) fn snr(power: f64, noise: f64) -> Option<Decibels> {
    let snr = Decibels::from_power_ratio(power / noise);
    Some(snr).filter(|snr| noise > f64::from(SILENCE) && snr.0.is_finite())
}

/// The speed that a time tells.
pub(super) fn speed(timed: &Timed, conditions: &Conditions) -> SpeedFigures {
    let deviation = deviation(timed.measured, timed.expected, conditions);
    without_tone::speed(
        deviation,
        timed.noise_s / timed.measured.0,
        timed.wow.scaled(timed.measured.0.recip()),
        conditions,
    )
}

/// The deviation alone.
pub(super) fn deviation(measured: Seconds, expected: Seconds, conditions: &Conditions) -> Percent {
    // As frequencies: how often the time goes into a second.
    conditions.deviation(Hertz(measured.0.recip()), Hertz(expected.0.recip()))
}

/// A time as right seconds: a clock that runs fast counts too many.
pub(super) fn right_seconds(counted: f64, conditions: &Conditions) -> Seconds {
    Seconds(counted / (1.0 + conditions.clock.error.0 * 1e-6))
}

/// The measurement without what only this kind of reference says.
pub(super) fn measurement(
    heard: &Listening,
    strength: Strength,
    speed: Option<SpeedFigures>,
    cautions: Vec<Caution>,
) -> Measurement {
    let noisy = strength
        .snr
        .filter(|snr| speed.is_some() && *snr < LOW_SNR)
        .map(|snr| {
            let kind = heard.settings.conditions.kind;
            Caution::Trouble(Problem::LowSnr(snr), kind)
        });
    let heard = Heard {
        settings: &heard.settings,
        has_drift: false,
        frames: heard.frames(),
        clipped: heard.clipped(),
        channel: strength.channel,
        level: strength.level,
        snr: strength.snr,
    };
    heard.measurement(speed, cautions, Vec::from_iter(noisy))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::conditions::SampleClock;
    use crate::units::Ppm;

    #[test]
    fn a_time_tells_speed_and_its_limits() {
        let conditions = Conditions {
            clock: SampleClock {
                error: Ppm(1000.0),
                ..SampleClock::default()
            },
            ..Conditions::default()
        };
        let timed = Timed {
            measured: Seconds(100.0),
            expected: Seconds(102.0),
            noise_s: 0.03,
            wow: Expanded::of_limit(0.04),
        };
        let told = speed(&timed, &conditions);
        // 102 s in 100 s of a clock that counts a thousandth too many.
        assert!((told.deviation.ratio() - 1.02 * 1.001).abs() < 1e-12);
        assert_eq!(told.measured, None);
        let percent = |seconds: f64| seconds / 100.0 * 102.102;
        let parts = told.parts;
        assert!((parts.noise.expect("known").0 - percent(0.03)).abs() < 1e-9);
        assert!((parts.wow.expect("known").0 - percent(0.04)).abs() < 1e-9);
        let sum = told.uncertainty.expect("known").0;
        assert!((sum - percent(0.05).hypot(0.01)).abs() < 1e-6, "{sum}");
        assert!((right_seconds(100.1, &conditions).0 - 100.0).abs() < 1e-9);
    }

    #[test]
    fn the_assumed_wow_is_about_a_millisecond() {
        // 0.3 % at 0.5 Hz: 0.955 ms peak; 0.05 % at 0.1 Hz: 0.796 ms peak.
        let expected = (0.955f64.powi(2) + 0.796f64.powi(2)).sqrt() / 2f64.sqrt();
        assert!((assumed_wow_s() * 1000.0 - expected).abs() < 1e-3);
    }
}
