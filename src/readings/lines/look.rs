//! What one stretch of the record shows, in percent.

use std::sync::{Arc, LazyLock};

use super::course::is_a_reels;
use crate::readings::wavering::{
    Chirp, FlutterLine, FlutterLines, LineMotion, SMALLEST_AT_HZ, SPECTRUM_CELLS, SPECTRUM_HZ,
};
use crate::readings::weighting::{FLUTTER_HZ, WOW_HZ, weighting};
use crate::signal::lines::{Finder, Found, Sine, threshold};
use crate::units::{Hertz, Percent, Seconds};

/// Nothing is measured above; the low-pass before passes up to here.
const TOP_HZ: f64 = 200.0;

/// Smaller lines are no matter of a machine, percent: a choice, a hundredth of
/// what is allowed to the best. What tracker and converters make of a steady
/// tone stays below (measured: 0.0001 %, and 0.0003 % beside hum).
const LEAST_PEAK: f64 = 0.0005;

/// Hum beside a low tone: harmonics of the mains up to here are heard, and how
/// far the mains stray at the first.
const HUM_UP_TO_HZ: f64 = 1200.0;
/// No harmonic makes more than this many times what a sinusoid of all hum that
/// is heard would. A choice: those above the fifth are not in what is heard.
const HUM_MORE: f64 = 2.0;
const MAINS_HZ: [f64; 2] = [50.0, 60.0];
const MAINS_STRAY_HZ: f64 = 0.02;

/// From standard deviations to 95 %.
const EXPANDED: f64 = 2.0;

/// A line of one look.
#[derive(Clone, Copy, Debug)]
pub struct LookLine {
    /// As it was fitted; percent.
    pub sine: Sine,
    /// Part of the weighted power of this look.
    pub share: f64,
}

/// See the module.
#[derive(Clone, Debug)]
pub struct Look {
    /// Length, and middle since the beginning of the run.
    pub seconds: f64,
    pub middle_s: f64,
    /// Mean frequency of the tone.
    pub mean_hz: f64,
    pub lines: Vec<LookLine>,
    reach_hz: [f64; 2],
    smallest: [Option<f64>; 3],
    bands: [Band; 2],
    spectrum: Arc<[f32]>,
    /// The same without the lines.
    hidden: Arc<[f32]>,
}

/// What a band of rates holds, as mean squares.
#[derive(Clone, Copy, Debug)]
struct Band {
    hz: [f64; 2],
    /// Less than most of it is in reach: nothing can be said of it.
    is_beyond: bool,
    /// Within reach, lines and all.
    sought: f64,
    whole: f64,
}

impl Look {
    /// At values in hertz about `offset_hz`; lines up to `band_hz` whose ln
    /// power stands `least` above the floor. `hum`: amplitude of what is heard of
    /// the mains over the tone's. `None` where it is too short.
    pub fn at(
        values: &[f32],
        offset_hz: f64,
        rate_hz: f64,
        band_hz: f64,
        least: f64,
        hum: f64,
        finder: &mut Finder,
    ) -> Option<Self> {
        let sum: f64 = values.iter().map(|&hz| f64::from(hz)).sum();
        let mean_off = sum / values.len().max(1) as f64;
        let mean_hz = offset_hz + mean_off;
        let percent = |&hz: &f32| (100.0 * (f64::from(hz) - mean_off) / mean_hz) as f32;
        let values: Vec<f32> = values.iter().map(percent).collect();
        let mut found = finder.find(&values, rate_hz, band_hz.min(TOP_HZ), least)?;
        found.lines.retain(|line| line.peak >= LEAST_PEAK);
        let is_hum = |line: &mut Sine| {
            let most = 100.0 * HUM_MORE * hum * line.hz / mean_hz;
            line.peak < most && is_hum_beside(line, mean_hz)
        };
        // No line, but no part of the rest.
        let hum: Vec<Sine> = found.lines.extract_if(.., is_hum).collect();
        found.beyond.extend(hum);
        let smallest = |hz| {
            let peak = found.smallest_peak(hz, threshold(found.seconds))?;
            Some(peak.max(LEAST_PEAK))
        };
        let weighted = weighted_power(&found);
        Some(Self {
            seconds: found.seconds,
            middle_s: 0.0,
            mean_hz,
            lines: found
                .lines
                .iter()
                .map(|&sine| LookLine {
                    sine,
                    share: (line_power(&sine) / weighted).clamp(0.0, 1.0),
                })
                .collect(),
            reach_hz: found.reach_hz,
            smallest: SMALLEST_AT_HZ.map(smallest),
            bands: [WOW_HZ, FLUTTER_HZ].map(|band| Band::of(&found, band)),
            spectrum: spectrum(&found, &found.power),
            hidden: spectrum(&found, &found.rest),
        })
    }

    /// The amplitude that a line at a rate could have without standing out;
    /// `None` out of reach.
    pub fn hidden_peak(&self, hz: f64) -> Option<f64> {
        let peak = f64::from(self.hidden[cell_of(hz)]);
        (peak > 0.0).then_some(peak)
    }

    /// As the screen and the records have it, with lines of one's own.
    pub fn with(&self, mut lines: Vec<FlutterLine>, seen_s: f64) -> FlutterLines {
        lines.sort_by(|a, b| b.weighted_share.total_cmp(&a.weighted_share));
        let [no_line_slow, no_line_fast] = self.bands.map(|band| band.no_line(&lines));
        FlutterLines {
            lines,
            seen: Seconds(seen_s),
            reach: self.reach_hz.map(Hertz),
            smallest: self.smallest.map(|peak| peak.map(Percent)),
            no_line_slow,
            no_line_fast,
            card: None,
            spectrum: Arc::clone(&self.spectrum),
        }
    }
}

impl LookLine {
    /// How far it stands out.
    pub fn above(&self) -> f64 {
        self.sine.above
    }

    /// As a reading, of which nothing is known but this look.
    pub fn reading(&self) -> FlutterLine {
        let sine = &self.sine;
        let moves = |[hz_per_s, sd]: [f64; 2]| Chirp {
            percent_per_minute: 6000.0 * hz_per_s / sine.hz,
            uncertainty_percent_per_minute: EXPANDED * 6000.0 * sd / sine.hz,
        };
        FlutterLine {
            hz: Hertz(sine.hz),
            hz_uncertainty: Hertz(EXPANDED * sine.hz_sd),
            peak: Percent(sine.peak),
            peak_uncertainty: Percent(EXPANDED * sine.peak_sd),
            weighted_share: self.share,
            motion: if sine.keeps_rate {
                LineMotion::KeepsRate
            } else {
                LineMotion::NotTold
            },
            course: None,
            chirp: sine.chirp.map(moves).filter(is_a_reels),
            windows: Vec::new(),
            parts: Vec::new(),
        }
    }
}

/// True where a line has the rate at which a harmonic of the mains beats with
/// the tone: hum that is heard beside it is no wavering of the speed.
fn is_hum_beside(line: &Sine, tone_hz: f64) -> bool {
    let beats = |mains_hz: f64| {
        let nearest = [tone_hz - line.hz, tone_hz + line.hz];
        nearest
            .into_iter()
            .filter(|&hz| hz < HUM_UP_TO_HZ)
            .any(|hz| {
                let nth = (hz / mains_hz).round();
                (hz - nth * mains_hz).abs() < nth * MAINS_STRAY_HZ + 3.0 * line.hz_sd
            })
    };
    MAINS_HZ.into_iter().any(beats)
}

/// Mean square of a line after the weighting.
fn line_power(line: &Sine) -> f64 {
    0.5 * line.peak * line.peak * weighting_power(line.hz)
}

/// Mean square of all that was looked at after the weighting: lines and rest.
fn weighted_power(found: &Found) -> f64 {
    let bins = found.rest.iter().enumerate().skip(1);
    let rest: f64 = bins
        .map(|(bin, &power)| (bin as f64 * found.hz_per_bin, f64::from(power)))
        .take_while(|(hz, _)| *hz <= found.reach_hz[1])
        .map(|(hz, power)| power * weighting_power(hz))
        .sum();
    let lines = found.lines.iter().chain(&found.beyond);
    (rest + lines.map(line_power).sum::<f64>()).max(f64::MIN_POSITIVE)
}

impl Band {
    fn of(found: &Found, hz: [f64; 2]) -> Self {
        let [low, high] = hz;
        let reach = [low.max(found.reach_hz[0]), high.min(found.reach_hz[1])];
        let rest = |[low, high]: [f64; 2]| -> f64 {
            let bins = [low, high].map(|hz| (hz / found.hz_per_bin).round() as usize);
            let bins = found.rest.iter().take(bins[1] + 1).skip(bins[0]);
            bins.map(|&power| f64::from(power)).sum()
        };
        let inside = |line: &&Sine| (low..=high).contains(&line.hz);
        let power = |lines: &[Sine]| -> f64 {
            let lines = lines.iter().filter(inside);
            lines.map(|line| 0.5 * line.peak * line.peak).sum()
        };
        let lines = power(&found.lines);
        Self {
            hz,
            is_beyond: reach[1] - reach[0] < 0.5 * (high - low),
            sought: rest(reach) + lines,
            whole: rest(hz) + lines + power(&found.beyond),
        }
    }

    /// Part of the power that was sought and is none of these lines; 0 where
    /// nothing can be said.
    fn no_line(&self, lines: &[FlutterLine]) -> f64 {
        if self.is_beyond || self.whole <= 0.0 {
            return 0.0;
        }
        let [low, high] = self.hz;
        let inside = lines
            .iter()
            .filter(|line| (low..=high).contains(&line.hz.0));
        let known: f64 = inside.map(|line| 0.5 * line.peak.0 * line.peak.0).sum();
        ((self.sought - known) / self.whole).clamp(0.0, 1.0)
    }
}

fn cell_of(hz: f64) -> usize {
    let [low, high] = SPECTRUM_HZ;
    let place = (hz / low).ln() / (high / low).ln() * SPECTRUM_CELLS as f64;
    (place.max(0.0) as usize).min(SPECTRUM_CELLS - 1)
}

/// Highest amplitude in each cell.
fn spectrum(found: &Found, power: &[f32]) -> Arc<[f32]> {
    let mut cells = vec![0.0f32; SPECTRUM_CELLS];
    let bin_of = |hz: f64| hz / found.hz_per_bin;
    let [low, high] = found.reach_hz.map(bin_of);
    let ratio = SPECTRUM_HZ[1] / SPECTRUM_HZ[0];
    for (cell, slot) in cells.iter_mut().enumerate() {
        let edge = |cell: usize| {
            let hz = SPECTRUM_HZ[0] * ratio.powf(cell as f64 / SPECTRUM_CELLS as f64);
            bin_of(hz)
        };
        let (from, to) = (edge(cell).max(low), edge(cell + 1).min(high));
        if from < to {
            // A cell narrower than a bin has the nearest one.
            let bins = &power[from.floor() as usize..=to.ceil() as usize];
            let most = bins.iter().copied().fold(0.0, f32::max);
            *slot = found.peak_of(f64::from(most)) as f32;
        }
    }
    cells.into()
}

/// Power gain of the weighting, from a table even in the logarithm of the rate.
fn weighting_power(hz: f64) -> f64 {
    const STEPS: usize = 512;
    const ENDS_HZ: [f64; 2] = [0.05, 250.0];
    /// Any track is fast enough for the curve to be that of the table.
    const RATE_HZ: f64 = 2000.0;
    static TABLE: LazyLock<Vec<f64>> = LazyLock::new(|| {
        let filter = weighting(RATE_HZ);
        let hz =
            |step: usize| ENDS_HZ[0] * (ENDS_HZ[1] / ENDS_HZ[0]).powf(step as f64 / STEPS as f64);
        let gain = |step| filter.gain(hz(step), RATE_HZ).powi(2);
        (0..=STEPS).map(gain).collect()
    });
    let place = (hz / ENDS_HZ[0]).ln() / (ENDS_HZ[1] / ENDS_HZ[0]).ln() * STEPS as f64;
    let place = place.clamp(0.0, STEPS as f64 - 1e-6);
    let below = place as usize;
    TABLE[below] + (place - below as f64) * (TABLE[below + 1] - TABLE[below])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::lines::tests::noise;
    use std::f64::consts::TAU;

    const RATE_HZ: f64 = 500.0;

    /// A minute of a tone that wavers by lines of these rates and peaks.
    fn wavering(tone_hz: f64, lines: &[(f64, f64)], hum: f64) -> Look {
        within(60.0, tone_hz, lines, hum)
    }

    fn within(seconds: f64, tone_hz: f64, lines: &[(f64, f64)], hum: f64) -> Look {
        let rough = noise((seconds * RATE_HZ) as usize, 3);
        let value = |(n, rough): (usize, &f64)| {
            let t = n as f64 / RATE_HZ;
            let percent: f64 = lines
                .iter()
                .map(|(hz, peak)| peak * (TAU * hz * t).sin())
                .sum();
            // Not quite still, lest nothing stand for the floor.
            (tone_hz * (percent + 0.01 * rough) / 100.0) as f32
        };
        let values: Vec<f32> = rough.iter().enumerate().map(value).collect();
        let least = threshold(seconds);
        let finder = &mut Finder::default();
        Look::at(&values, tone_hz, RATE_HZ, f64::INFINITY, least, hum, finder).expect("long enough")
    }

    fn shown(look: &Look) -> FlutterLines {
        let lines = look.lines.iter().map(LookLine::reading).collect();
        look.with(lines, look.seconds)
    }

    #[test]
    fn the_weighted_shares_are_those_of_the_standard() {
        // By the table of the standard (from memory), 4 Hz is 0 dB and 0.8 Hz
        // −6 dB: equal shares for twice the amplitude.
        let look = wavering(3150.0, &[(4.0, 0.05), (0.8, 0.1)], 0.0);
        let shares: Vec<f64> = look.lines.iter().map(|line| line.share).collect();
        assert_eq!(shares.len(), 2);
        for share in shares {
            assert!((share - 0.5).abs() < 0.02, "{share}");
        }
        // Below 6 Hz next to nothing is noise, above all of it.
        let [slow, fast] = {
            let found = shown(&look);
            [found.no_line_slow, found.no_line_fast]
        };
        assert!(slow < 0.001 && fast > 0.99, "{slow}, {fast}");
        // A line that is not shown is none.
        let found = look.with(Vec::new(), look.seconds);
        assert!(found.no_line_slow > 0.99, "{found:?}");
    }

    #[test]
    fn what_was_not_sought_is_not_said_to_be_no_line() {
        // Wow below what 8.2 s can tell is no hunting governor.
        let found = shown(&within(8.2, 3150.0, &[(0.55, 0.15)], 0.0));
        assert!(found.lines.is_empty(), "{found:?}");
        assert!(found.no_line_slow < 0.05, "{}", found.no_line_slow);
        // Nor is a band that the tone lets nothing through of.
        let values: Vec<f32> = noise(30_000, 3).iter().map(|&it| it as f32).collect();
        let narrow = Look::at(
            &values,
            315.0,
            RATE_HZ,
            30.0,
            3.9,
            0.0,
            &mut Finder::default(),
        )
        .expect("long enough");
        let found = shown(&narrow);
        assert!(found.no_line_slow > 0.99 && found.no_line_fast == 0.0);
    }

    #[test]
    fn what_could_hide_is_none_of_the_lines() {
        let look = wavering(3150.0, &[(9.0, 0.2)], 0.0);
        let hidden = look.hidden_peak(9.05).expect("within reach");
        assert!(hidden < 0.001, "{hidden}");
        assert_eq!(look.hidden_peak(0.05), None);
        // Ripple is in the spectrum that is shown.
        let look = wavering(3150.0, &[(0.6, 0.3), (50.0, 0.05)], 0.0);
        assert!(look.lines.iter().any(|line| line.sine.keeps_rate));
        let peak = look.spectrum[cell_of(50.0)];
        assert!(peak > 0.02, "{peak}");
    }

    #[test]
    fn hum_beside_a_tone_is_no_wavering_of_the_speed() {
        // 316 Hz beside the sixth harmonic of 50 Hz, of a hundredth of the tone.
        let rates = |hum: f64| -> Vec<f64> {
            let look = wavering(316.0, &[(16.0, 0.05), (9.1, 0.05)], hum);
            let mut rates: Vec<f64> = look.lines.iter().map(|line| line.sine.hz.round()).collect();
            rates.sort_by(f64::total_cmp);
            rates
        };
        assert_eq!(rates(0.01), [9.0]);
        // Where less is heard it cannot be hum.
        assert_eq!(rates(0.0001), [9.0, 16.0]);
        // A higher tone is out of its reach.
        assert_eq!(wavering(3166.0, &[(16.0, 0.05)], 0.01).lines.len(), 1);
    }
}
