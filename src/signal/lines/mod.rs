//! Lines in a record of the speed: regular waverings that stand out of its
//! noise, whatever the colour of that.
//!
//! One Hann window over the whole record, a local floor, one threshold; what is
//! found is fitted by least squares and taken out, and the rest is looked at
//! again. Sought at equal steps of tape, but for mains ripple.

mod fit;
mod floor;
mod mains;
mod position;

use std::f64::consts::PI;
use std::fmt;
use std::ops::Range;

pub use self::mains::{MAINS_HZ, MAINS_STRAY};

use self::fit::Wave;
use self::floor::{Layout, MEAN_ABOVE_FIT};
use self::position::{at_equal_steps, centred, detrend, kept};
use super::fir::LANES;
use super::spectrum::Spectrum;
use super::statistics::parabola_top;

/// A shorter record shows no line.
pub const LEAST_S: f64 = 8.0;

/// No more lines are told apart.
pub const MOST_LINES: usize = 16;

/// Slowest rate: in hertz, and in turns over the record.
const SLOWEST_HZ: f64 = 0.1;
const SLOWEST_TURNS: f64 = 6.0;

/// Lines are sought from here on, in turns over the record, and this far beyond
/// the highest rate: the flank of a line out of reach is none within it. A
/// choice: slower ones lie in what is left of mean and slope; the lobe of a
/// window and a turn.
const SOUGHT_FROM_TURNS: f64 = 2.5;
const SOUGHT_BEYOND_TURNS: f64 = 3.5;

/// Looks at what the lines before have left.
const ROUNDS: u32 = 5;

/// Nearer than this to a line, in turns over the record, is its main lobe.
const LOBE_TURNS: f64 = 2.5;

/// A line whose logarithm of power over the floor is higher by this hides what
/// is near: the side lobes of its window. In turns over the record. Derived:
/// beyond them a Hann window leaves less than e⁻⁶ of what stands three turns
/// off.
const HIDES: f64 = 6.0;
const HIDDEN_TURNS: f64 = 10.0;

/// From here on the floor is good, in turns over the record; and how far the
/// low-pass before lets noise through, in hertz.
const TOP_OF_FLOOR_HZ: f64 = 240.0;

/// A rate that moves by itself is fitted below this rate, from this length on,
/// for lines that stand this far out. A choice: reels turn slower than 1.5
/// times a second, and in less their rate does not move by what can be seen.
const BENT_BELOW_HZ: f64 = 1.5;
const BENT_FROM_S: f64 = 30.0;
const BENT_ABOVE: f64 = 5.0;
/// It is kept where it is this many times its standard deviation.
const BENT_KEPT: f64 = 2.5;
/// Rate of the means that it is fitted to.
const BENT_MEANS_HZ: f64 = 16.0;

/// What the ends of a record do to its mean speed, and the sample clock, in
/// parts of a rate; and kernel and droop, in parts of an amplitude.
const RATE_SD: f64 = 1e-5;
const PEAK_SD: f64 = 0.005;

/// How far ln power stands above the floor where a record of noise shows a line
/// less often than once in a hundred. Tuned on noise of six colours (white,
/// 1/f, 1/f², two resonances, rising), judged on other seeds: the bench `lines`.
/// A resonance whose band is less than a dozen turns over the record wide shows
/// more: it cannot be told from a line that wanders.
pub fn threshold(seconds: f64) -> f64 {
    3.9 + 1.4 * ((40.0 - seconds) / 30.0).clamp(0.0, 1.0)
}

/// A line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sine {
    /// Rate at the mean speed of the record, that is, as heard.
    pub hz: f64,
    /// Standard deviation.
    pub hz_sd: f64,
    /// Half of peak to peak, in the unit of the record.
    pub peak: f64,
    /// Standard deviation.
    pub peak_sd: f64,
    /// Change of the rate in hertz a second with its standard deviation, where
    /// it moves.
    pub chirp: Option<[f64; 2]>,
    /// It keeps its rate while the speed wavers: mains ripple.
    pub keeps_rate: bool,
    /// ln power over the floor.
    pub above: f64,
    wave: Wave,
}

/// What a record shows.
#[derive(Clone, Debug)]
pub struct Found {
    /// At most [`MOST_LINES`].
    pub lines: Vec<Sine>,
    /// What was fitted out of reach: taken out of the rest, but no line whose
    /// rate is known.
    pub beyond: Vec<Sine>,
    /// Length of the record.
    pub seconds: f64,
    /// Lowest and highest rate looked at.
    pub reach_hz: [f64; 2],
    /// Power of each bin; all add up to the mean square.
    pub power: Vec<f32>,
    /// The same without the lines.
    pub rest: Vec<f32>,
    /// Distance of two bins.
    pub hz_per_bin: f64,
    /// ln floor of the bins that were looked at.
    floor: Vec<f64>,
    first_bin: usize,
    /// Amplitude of a sinusoid whose highest bin has power 1.
    peak_of_power: f64,
}

impl Found {
    /// Amplitude of the sinusoid that a bin's power would come from.
    pub fn peak_of(&self, power: f64) -> f64 {
        self.peak_of_power * power.max(0.0).sqrt()
    }

    /// The smallest amplitude that would be found; `None` out of reach.
    pub fn smallest_peak(&self, hz: f64, threshold: f64) -> Option<f64> {
        let [low, high] = self.reach_hz;
        let floor = self.floor_at(hz).filter(|_| (low..=high).contains(&hz))?;
        Some(self.peak_of((floor + threshold).exp()))
    }

    fn floor_at(&self, hz: f64) -> Option<f64> {
        let bin = (hz / self.hz_per_bin).round() as usize;
        let last = self.floor.len().checked_sub(1)?;
        Some(self.floor[bin.saturating_sub(self.first_bin).min(last)])
    }

    /// One-sided density of the noise.
    fn density(&self, hz: f64) -> f64 {
        let floor = self.floor_at(hz).unwrap_or(f64::NEG_INFINITY);
        (floor + MEAN_ABOVE_FIT).exp() / self.hz_per_bin
    }
}

/// Looks for lines in a record of `rate_hz` values a second, up to `top_hz`,
/// those whose ln power stands higher above the floor than the threshold.
/// `None` below [`LEAST_S`].
pub fn find(values: &[f32], rate_hz: f64, top_hz: f64, threshold: f64) -> Option<Found> {
    Finder::default().find(values, rate_hz, top_hz, threshold)
}

/// Keeps what searches in records of one length have in common; a copy keeps
/// nothing yet.
#[derive(Default)]
pub struct Finder {
    search: Option<Search>,
}

impl Clone for Finder {
    fn clone(&self) -> Self {
        Self::default()
    }
}

impl fmt::Debug for Finder {
    fn fmt(&self, out: &mut fmt::Formatter) -> fmt::Result {
        out.write_str("Finder")
    }
}

impl Finder {
    /// As [`find`].
    pub fn find(
        &mut self,
        values: &[f32],
        rate_hz: f64,
        top_hz: f64,
        threshold: f64,
    ) -> Option<Found> {
        if (values.len() as f64) < LEAST_S * rate_hz {
            return None;
        }
        // One middle of the record for all that is fitted to it.
        let centre = centred(&values[..values.len() / LANES * LANES]);
        let wanted = (kept(centre.len()), rate_hz, top_hz);
        let known = self.search.take();
        let search = known.filter(|search| search.wanted == wanted);
        let search = self
            .search
            .insert(search.unwrap_or_else(|| Search::new(wanted)));
        search.all(centre, rate_hz, threshold)
    }
}

/// A line while it is sought.
#[derive(Clone, Copy)]
struct Seen {
    wave: Wave,
    above: f64,
    bend_sd: f64,
}

/// The search in records of one length.
struct Search {
    /// Values, their rate and the highest rate of lines that it was made for.
    wanted: (usize, f64, f64),
    spectrum: Spectrum,
    layout: Layout,
    /// Bins of the rates that are told.
    reach: Range<usize>,
    top_hz: f64,
    /// Of the values at hand: in time or at equal steps of tape.
    rate_hz: f64,
    seconds: f64,
    /// Values of the record.
    count: usize,
}

impl Search {
    fn new(wanted: (usize, f64, f64)) -> Self {
        let (count, rate_hz, top_hz) = wanted;
        let padded = (2 * count).next_power_of_two();
        let spectrum = Spectrum::padded_to(padded, count, rate_hz);
        let seconds = count as f64 / rate_hz;
        let slowest_hz = SLOWEST_HZ.max(SLOWEST_TURNS / seconds);
        let per_turn = padded as f64 / count as f64;
        let first = (slowest_hz / spectrum.hz_per_bin()).ceil() as usize;
        let end = spectrum.bin_of(top_hz.max(slowest_hz)).max(first) + 1;
        let from = first.min((SOUGHT_FROM_TURNS * per_turn).ceil() as usize);
        let to = end + (SOUGHT_BEYOND_TURNS * per_turn).ceil() as usize;
        let last = spectrum.bin_of(TOP_OF_FLOOR_HZ);
        Self {
            wanted,
            layout: Layout::new(from..to, per_turn, last.max(to)),
            reach: first..end,
            spectrum,
            top_hz,
            rate_hz,
            seconds,
            count,
        }
    }

    /// What turns, and ripple.
    fn all(&mut self, centre: Vec<f32>, rate_hz: f64, threshold: f64) -> Option<Found> {
        let found = self.turning(&centre, rate_hz, threshold)?;
        let ripples = mains::ripple(self, &centre, rate_hz, &found);
        if ripples.is_empty() {
            return Some(found);
        }
        let mut without = centre;
        for ripple in &ripples {
            fit::add(&mut without, &ripple.wave, -1.0);
        }
        let with_ripple = found.power;
        let mut found = self.turning(&without, rate_hz, threshold)?;
        found.power = with_ripple;
        found.lines.extend(ripples);
        found.lines.sort_by(|a, b| b.peak.total_cmp(&a.peak));
        found.lines.truncate(MOST_LINES);
        Some(found)
    }

    /// Lines at equal steps of tape.
    fn turning(&mut self, centred: &[f32], rate_hz: f64, threshold: f64) -> Option<Found> {
        let even = at_equal_steps(centred)?;
        let mut values = even.values;
        detrend(&mut values);
        self.rate_hz = rate_hz / even.step;
        Some(self.lines(values, threshold))
    }

    fn power(&mut self, values: &[f32]) -> Vec<f32> {
        let mut power = vec![0.0; self.spectrum.bins()];
        self.spectrum.add_power(values, &mut power);
        power
    }

    fn lines(&mut self, values: Vec<f32>, threshold: f64) -> Found {
        let mut residual = values;
        let mut seen: Vec<Seen> = Vec::new();
        let whole = self.power(&residual);
        let mut rest = whole.clone();
        let mut floor = self.layout.floor(&rest);
        for _ in 0..ROUNDS {
            let fresh = self.candidates(&rest, &floor, &seen, threshold);
            if fresh.is_empty() {
                break;
            }
            seen.extend(fresh);
            self.fit(&mut residual, &mut seen, &floor);
            rest = self.power(&residual);
            floor = self.layout.floor(&rest);
        }
        let band = self.layout.band.clone();
        let hz_per_bin = self.rate_hz / (self.count as f64 * self.layout.per_turn);
        let mut found = Found {
            lines: Vec::new(),
            seconds: self.seconds,
            beyond: Vec::new(),
            reach_hz: [self.reach.start, self.reach.end - 1].map(|bin| bin as f64 * hz_per_bin),
            power: whole,
            rest,
            hz_per_bin,
            floor,
            first_bin: band.start,
            // Of a Hann window (Σw)²/Σw² is ⅔ of its length.
            peak_of_power: (3.0 * self.layout.per_turn).sqrt(),
        };
        let all = seen.iter().map(|seen| self.line(seen, &found));
        let [low, high] = found.reach_hz;
        (found.lines, found.beyond) = all.partition(|line| (low..=high).contains(&line.hz));
        found.lines.sort_by(|a, b| b.peak.total_cmp(&a.peak));
        found
    }

    /// Peaks above the floor that no known line explains, highest first.
    fn candidates(&self, power: &[f32], floor: &[f64], known: &[Seen], least: f64) -> Vec<Seen> {
        let Layout { band, per_turn, .. } = &self.layout;
        let ln = |bin: usize| f64::from(power[bin].max(f32::MIN_POSITIVE).ln());
        let above: Vec<f64> = (band.clone().zip(floor))
            .map(|(bin, floor)| ln(bin) - floor)
            .collect();
        let reach = (3.0 * per_turn) as usize;
        let is_top = |&place: &usize| {
            let near = place.saturating_sub(reach)..(place + reach + 1).min(above.len());
            above[near].iter().all(|other| *other <= above[place])
        };
        let mut tops: Vec<usize> = (0..above.len())
            .filter(|&place| above[place] > least)
            .filter(is_top)
            .collect();
        tops.sort_by(|&a, &b| above[b].total_cmp(&above[a]));
        let turns_of = |place: f64| place / per_turn;
        let mut fresh: Vec<(f64, Seen)> = Vec::new();
        for place in tops {
            let bin = band.start + place;
            let top = parabola_top(ln(bin - 1), ln(bin), ln(bin + 1));
            let turns = turns_of(bin as f64 + top);
            let known_turns = known.iter().map(|seen| seen.wave.turns * self.count as f64);
            let is_near = |other: f64, turns_apart: f64| (other - turns).abs() < turns_apart;
            let in_a_lobe = known_turns.clone().any(|other| is_near(other, LOBE_TURNS))
                || fresh.iter().any(|(other, _)| is_near(*other, LOBE_TURNS));
            let is_hidden = fresh.iter().any(|(other, seen)| {
                is_near(*other, HIDDEN_TURNS) && seen.above - above[place] > HIDES
            });
            if !in_a_lobe && !is_hidden && known.len() + fresh.len() < MOST_LINES {
                let wave = Wave {
                    turns: turns / self.count as f64,
                    ..Wave::default()
                };
                let seen = Seen {
                    wave,
                    above: above[place],
                    bend_sd: 0.0,
                };
                fresh.push((turns, seen));
            }
        }
        fresh.into_iter().map(|(_, seen)| seen).collect()
    }

    fn fit(&self, residual: &mut [f32], seen: &mut [Seen], floor: &[f64]) {
        let mut waves: Vec<Wave> = seen.iter().map(|seen| seen.wave).collect();
        fit::fit_all(residual, &mut waves);
        for (seen, wave) in seen.iter_mut().zip(waves) {
            seen.wave = wave;
            let slow = wave.turns * self.rate_hz < BENT_BELOW_HZ;
            if slow && seen.above >= BENT_ABOVE && self.seconds >= BENT_FROM_S {
                self.bend(residual, seen, floor);
            }
        }
    }

    /// Follows a rate that moves, where it does.
    fn bend(&self, residual: &mut [f32], seen: &mut Seen, floor: &[f64]) {
        fit::add(residual, &seen.wave, 1.0);
        let each = (self.rate_hz / BENT_MEANS_HZ).round().max(1.0) as usize;
        if let Some(bent) = fit::fit_bent(residual, &seen.wave, each) {
            let bin = (bent.turns * self.count as f64 * self.layout.per_turn).round() as usize;
            let place = bin.saturating_sub(self.layout.band.start);
            let floor = floor[place.min(floor.len() - 1)];
            let density = (floor + MEAN_ABOVE_FIT).exp() / self.spectrum.hz_per_bin();
            // Cramér-Rao bound of the change of a sinusoid's rate, derived as
            // those of `line`.
            let sd = (180.0 * density / self.seconds.powi(5)).sqrt() / (PI * bent.peak());
            let in_values = sd / (self.rate_hz * self.rate_hz);
            if bent.bend.abs() > BENT_KEPT * in_values {
                seen.wave = bent;
                seen.bend_sd = sd;
            }
        }
        fit::add(residual, &seen.wave, -1.0);
    }

    /// With what is known of its errors (Cramér-Rao bound: Rife & Boorstyn,
    /// IEEE Trans. IT 20 (1974) 591, from memory).
    fn line(&self, seen: &Seen, found: &Found) -> Sine {
        let wave = &seen.wave;
        let hz = wave.turns * self.rate_hz;
        let peak = wave.peak();
        let density = found.density(hz);
        let seconds = self.seconds;
        let hz_sd = (3.0 * density / seconds.powi(3)).sqrt() / (PI * peak);
        let chirp = [wave.bend * self.rate_hz * self.rate_hz, seen.bend_sd];
        Sine {
            hz,
            hz_sd: hz_sd.hypot(RATE_SD * hz),
            peak,
            peak_sd: (density / seconds).sqrt().hypot(PEAK_SD * peak),
            chirp: (wave.bend != 0.0).then_some(chirp),
            keeps_rate: false,
            above: seen.above,
            wave: *wave,
        }
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};
    use rand_pcg::Pcg64Mcg;

    /// Even noise from −½ to ½.
    pub(crate) fn noise(count: usize, seed: u64) -> Vec<f64> {
        let mut random = Pcg64Mcg::seed_from_u64(seed);
        let mut value = || f64::from(random.next_u32()) / f64::from(u32::MAX) - 0.5;
        (0..count).map(|_| value()).collect()
    }

    const RATE_HZ: f64 = 500.0;

    /// Noise of this peak and sinusoids of (rate, peak).
    fn record(seconds: f64, rough: f64, sines: &[(f64, f64)], seed: u64) -> Vec<f32> {
        let noise = noise((seconds * RATE_HZ) as usize, seed);
        let value = |(k, noise): (usize, &f64)| {
            let t = k as f64 / RATE_HZ;
            let turned = |hz: f64| (hz * t + 0.13 * seed as f64).fract();
            let sines = sines.iter();
            let sum: f64 = sines
                .map(|(hz, peak)| peak * (2.0 * PI * turned(*hz)).sin())
                .sum();
            (rough * noise + sum) as f32
        };
        noise.iter().enumerate().map(value).collect()
    }

    #[test]
    fn the_smallest_line_is_where_the_threshold_is() {
        let alone = find(&record(60.0, 1.0, &[], 1), RATE_HZ, 200.0, 3.9).expect("long enough");
        assert_eq!(alone.lines, []);
        // Noise beneath it adds or takes away: of a line whose power is e^3.9 of
        // it some 15 % of the amplitude.
        for (part, found) in [(0.7, 0..=2), (1.0, 3..=13), (1.4, 14..=16)] {
            let shows = |&seed: &u64| {
                let rough = find(&record(60.0, 1.0, &[], seed), RATE_HZ, 200.0, 3.9);
                let smallest = rough.and_then(|it| it.smallest_peak(20.0, 3.9));
                let sine = (20.0, part * smallest.expect("within reach"));
                let got = find(&record(60.0, 1.0, &[sine], seed), RATE_HZ, 200.0, 3.9);
                let lines = got.expect("long enough").lines;
                lines.iter().any(|line| (line.hz - 20.0).abs() < 0.02)
            };
            let count = (1..=16u64).filter(shows).count();
            assert!(found.contains(&count), "{part}: {count}");
        }
        assert_eq!(alone.smallest_peak(210.0, 3.9), None);
        assert!(find(&record(7.9, 1.0, &[], 1), RATE_HZ, 200.0, 3.9).is_none());
    }

    #[test]
    fn what_lies_out_of_reach_is_no_line_within_it() {
        for seconds in [8.2, 20.0, 60.0] {
            for (peak, seed) in [(0.1, 1), (0.3, 2)] {
                // Beside what does not turn with the tape: wow puts side bands
                // to it.
                let rates = |off_hz: f64, top_hz: f64| -> Vec<f64> {
                    let sines = [(off_hz, peak), (8.9, 0.03)];
                    let values = record(seconds, 0.07, &sines, seed);
                    let found = find(&values, RATE_HZ, top_hz, threshold(seconds));
                    let lines = found.expect("long enough").lines.into_iter();
                    let rates = lines.map(|line| line.hz);
                    rates.filter(|hz| (hz - 8.9).abs() > 1.0).collect()
                };
                for turns in [3.0, 4.0, 4.75, 5.5] {
                    let got = rates(turns / seconds, 200.0);
                    assert!(got.is_empty(), "{turns} in {seconds} s: {got:?}");
                }
                let got = rates(7.0 / seconds, 200.0);
                assert_eq!(got.len(), 1, "{seconds} s: {got:?}");
                assert!((got[0] - 7.0 / seconds).abs() < 0.2 / seconds, "{got:?}");
                for turns in [0.5, 1.0, 2.0, 3.0, 5.0] {
                    let got = rates(60.0 + turns / seconds, 60.0);
                    assert!(got.is_empty(), "{turns} over in {seconds} s: {got:?}");
                }
                assert_eq!(rates(60.0 - 1.0 / seconds, 60.0).len(), 1);
            }
        }
    }
}
