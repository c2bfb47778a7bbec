//! The live flutter meter: one filter chain, sliding windows for the screen,
//! totals for whatever is being kept.

// See `wide`.
#![allow(clippy::inline_always)]

use std::collections::VecDeque;

use super::highest::HighestReadings;
use super::quasi_peak::QuasiPeak;
use super::recent::{BLOCK_S, Recent, WINDOW_S};
use super::scatter::{FlutterBlocks, FlutterScatter};
use super::two_sigma::TwoSigma;
use crate::readings::blocks::BlockSeries;
use crate::readings::lines::{LINES_HZ, LineRecord, Run};
use crate::readings::track::{Highest, Steps};
use crate::readings::weighting::{FLUTTER_HZ, UNWEIGHTED_HZ, WOW_HZ, band, unweighted, weighting};
use crate::signal::filters::Bank;
use crate::signal::fir::kaiser_lowpass;
use crate::signal::phased::{Phased, PhasedTaps, TILE};
use crate::signal::wide::{self, Work};

/// The mean of this much track is taken out before the filters start, so that
/// they need not first swing to it. A choice.
const LEAD_IN_S: f64 = 0.5;

/// The weighting filter has forgotten a step of 3 % to within 0.001 % after
/// this time; nothing is read before. Derived.
pub const SETTLING_S: f64 = 4.0;

/// Values are held back this long: a move is known only some moments after it
/// began, and what it did meanwhile is no flutter. Tuned, on what is not recorded.
const HELD_S: f64 = 0.3;

/// Least signal for a figure: IEC 60386 Amendment 1 asks for 5 s.
pub const LEAST_S: f64 = 5.0;

/// Flutter proper settles fast and may be shown early. A choice.
const EARLY_SETTLING_S: f64 = 0.7;
const EARLY_LEAST_S: f64 = 1.0;

/// Where nothing is left above the upper edge of everything, and how little:
/// what lies higher is crosstalk, not flutter. A choice.
const TOP_STOP_HZ: f64 = 290.0;
const TOP_ATTENUATION_DB: f64 = 70.0;

/// Values that are filtered at a time, at most.
const MOST_VALUES: usize = 4 * TILE;

/// Squares of one value: weighted, unweighted, wow and flutter.
type Squares = [f64; 4];

/// Sums over a stretch; see [`FlutterTotals`].
#[derive(Clone, Debug)]
pub struct FlutterTotals {
    squares: Squares,
    seen: u64,
    weighted: TwoSigma,
    unweighted: TwoSigma,
    /// Mean weighted squares, for the uncertainty.
    blocks: BlockSeries,
    /// Mean sixth powers, for the same.
    sixths: BlockSeries,
    /// Of the indicator.
    highest: HighestReadings,
    /// The same against time.
    pub steps: Steps<Highest>,
    /// What lines are sought in.
    pub lines: LineRecord,
    rate_hz: f64,
}

/// Figures in hertz; the caller turns them to percent.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct FlutterHz {
    /// Weighted two-sigma.
    pub weighted_two_sigma: Option<f64>,
    /// Weighted quasi-peak.
    pub weighted_peak: Option<f64>,
    /// Weighted root mean square.
    pub weighted_rms: Option<f64>,
    /// Unweighted two-sigma.
    pub unweighted_two_sigma: Option<f64>,
    /// Unweighted root mean square.
    pub unweighted_rms: Option<f64>,
    /// 0.5 to 6 Hz.
    pub wow_rms: Option<f64>,
    /// 6 to 100 Hz.
    pub flutter_rms: Option<f64>,
    /// 95 % of the weighted two-sigma.
    pub weighted_two_sigma_uncertainty: Option<f64>,
    /// 95 % of the weighted quasi-peak.
    pub weighted_peak_uncertainty: Option<f64>,
    /// 95 % of the weighted root mean square.
    pub weighted_rms_uncertainty: Option<f64>,
}

/// The chain.
pub struct FlutterMeter {
    rate_hz: f64,
    held: Vec<f64>,
    top: PhasedTaps,
    before: Phased,
    tamed: Vec<f32>,
    filtered: Vec<[f64; 4]>,
    /// Weighted, unweighted, wow, flutter.
    filters: Bank<4>,
    quasi_peak: QuasiPeak,
    /// Tick of the next value to be filtered.
    tick: u64,
    /// Values since the last restart.
    age: u64,
    lead_in: f64,
    offset_hz: f64,
    /// Restarts, and whether the last was a move.
    generation: u64,
    moved: bool,
    /// Highest rate that reaches the track.
    band_hz: f64,
    /// Of these values one is kept for the lines.
    line_step: usize,
    /// Values until the next of them, and those of the newest values.
    until_line: usize,
    line_values: Vec<f32>,
    /// The sliding windows are kept.
    is_live: bool,
    live: Live,
}

/// The sliding windows.
struct Live {
    rate_hz: f64,
    /// Squares and bin of each value: in few bits, for the window is long.
    window: VecDeque<([f32; 4], u16)>,
    sums: Squares,
    /// Squares of flutter, before anything else is settled.
    early: VecDeque<f64>,
    early_sum: f64,
    two_sigma: TwoSigma,
    since_resum: usize,
    recent: Recent,
}

impl Live {
    fn new(rate_hz: f64) -> Self {
        Self {
            rate_hz,
            window: VecDeque::with_capacity((WINDOW_S * rate_hz) as usize + 1),
            sums: Squares::default(),
            early: VecDeque::with_capacity((EARLY_LEAST_S * rate_hz) as usize + 1),
            early_sum: 0.0,
            two_sigma: TwoSigma::new(),
            since_resum: 0,
            recent: Recent::new(rate_hz),
        }
    }

    fn show_early(&mut self, square: f64) {
        self.early.push_back(square);
        self.early_sum += square;
        if self.early.len() > (EARLY_LEAST_S * self.rate_hz) as usize
            && let Some(old) = self.early.pop_front()
        {
            self.early_sum -= old;
        }
    }

    fn show(&mut self, squares: Squares, bin: u16, peak: f64) {
        self.recent.push(squares[0], peak);
        let short = squares.map(|square| square as f32);
        self.window.push_back((short, bin));
        add(&mut self.sums, short.map(f64::from), 1.0);
        self.two_sigma.add(bin);
        let longest = (WINDOW_S * self.rate_hz) as usize;
        if self.window.len() > longest
            && let Some((old, bin)) = self.window.pop_front()
        {
            add(&mut self.sums, old.map(f64::from), -1.0);
            self.two_sigma.remove(bin);
        }
        self.since_resum += 1;
        if self.since_resum > longest {
            // Summed anew each lap: rounding never piles up.
            self.since_resum = 0;
            self.sums = Squares::default();
            for (squares, _) in &self.window {
                add(&mut self.sums, squares.map(f64::from), 1.0);
            }
            self.early_sum = self.early.iter().sum();
        }
    }
}

/// The filters of a few values.
struct Chain<'a> {
    meter: &'a mut FlutterMeter,
    values: &'a [f64],
}

impl Work for Chain<'_> {
    type Output = ();

    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let Self { meter, values } = self;
        let offset_hz = meter.offset_hz;
        meter.tamed.clear();
        meter
            .tamed
            .extend(values.iter().map(|hz| (hz - offset_hz) as f32));
        meter.before.take(&meter.tamed);
        for (part, slots) in meter.filtered[..values.len()].chunks_mut(TILE).enumerate() {
            let tile = meter.before.filter::<FUSED>(&meter.top, part * TILE);
            for (slot, value) in slots.iter_mut().zip(tile) {
                *slot = meter.filters.push::<FUSED>(f64::from(value));
            }
            let mut at = meter.until_line;
            while at < slots.len() {
                meter.line_values.push(tile[at]);
                at += meter.line_step;
            }
            meter.until_line = at - slots.len();
        }
    }
}

impl FlutterTotals {
    /// Empty, for a track of `rate_hz` values a second.
    pub fn new(rate_hz: f64) -> Self {
        Self {
            squares: Squares::default(),
            seen: 0,
            weighted: TwoSigma::new(),
            unweighted: TwoSigma::new(),
            blocks: BlockSeries::new(BLOCK_S, rate_hz),
            sixths: BlockSeries::new(BLOCK_S, rate_hz),
            highest: HighestReadings::new(rate_hz),
            steps: Steps::new(rate_hz),
            lines: LineRecord::new(rate_hz / line_step(rate_hz) as f64),
            rate_hz,
        }
    }

    /// One value, at a tick of the input: its squares, the bins of the weighted
    /// and the unweighted one, and the indicator's reading.
    #[inline]
    fn push(&mut self, tick: u64, squares: Squares, bins: [u16; 2], reading: f64) {
        self.seen += 1;
        add(&mut self.squares, squares, 1.0);
        self.weighted.add(bins[0]);
        self.unweighted.add(bins[1]);
        self.blocks.push(squares[0]);
        self.sixths.push(squares[0].powi(3));
        self.highest.push(reading);
        self.steps.at(tick).add(reading);
    }

    /// Valid signal in seconds.
    pub fn seen_s(&self) -> f64 {
        self.seen as f64 / self.rate_hz
    }

    /// The figures, each `None` while less than 5 s were valid.
    pub fn figures(&self) -> FlutterHz {
        if self.seen_s() < LEAST_S {
            return FlutterHz::default();
        }
        let rms = self.squares.map(|sum| (sum / self.seen as f64).sqrt());
        let [weighted_rms, unweighted_rms, wow_rms, flutter_rms] = rms.map(Some);
        let blocks = FlutterBlocks {
            squares: self.blocks.blocks(),
            sixths: self.sixths.blocks(),
        };
        let scatter = FlutterScatter::of(&blocks, self.blocks.block_s());
        FlutterHz {
            weighted_two_sigma: self.weighted.level(),
            weighted_peak: Some(self.highest.of_all()),
            weighted_rms,
            unweighted_two_sigma: self.unweighted.level(),
            unweighted_rms,
            wow_rms,
            flutter_rms,
            weighted_rms_uncertainty: times(scatter.rms, weighted_rms),
            weighted_two_sigma_uncertainty: times(scatter.two_sigma, self.weighted.level()),
            weighted_peak_uncertainty: scatter.of_highest(&self.highest),
        }
    }
}

impl FlutterMeter {
    /// For a track of `rate_hz` values a second.
    pub fn new(rate_hz: f64) -> Self {
        let top = kaiser_lowpass(UNWEIGHTED_HZ[1], TOP_STOP_HZ, rate_hz, TOP_ATTENUATION_DB);
        let top = PhasedTaps::new(1, &top);
        Self {
            rate_hz,
            held: Vec::new(),
            before: top.stream(MOST_VALUES),
            tamed: Vec::with_capacity(MOST_VALUES),
            filtered: vec![[0.0; 4]; MOST_VALUES],
            top,
            filters: Bank::new(&[
                weighting(rate_hz),
                unweighted(rate_hz),
                band(WOW_HZ, rate_hz),
                band(FLUTTER_HZ, rate_hz),
            ]),
            quasi_peak: QuasiPeak::new(rate_hz),
            tick: 0,
            age: 0,
            lead_in: 0.0,
            offset_hz: 0.0,
            generation: 0,
            moved: false,
            band_hz: f64::INFINITY,
            line_step: line_step(rate_hz),
            until_line: 0,
            line_values: Vec::new(),
            is_live: true,
            live: Live::new(rate_hz),
        }
    }

    /// Begins anew: the tone was found, or the speed was moved.
    pub fn restart(&mut self, moved: bool) {
        self.generation += 1;
        self.moved = moved;
        self.until_line = 0;
        self.held.clear();
        self.age = 0;
        self.lead_in = 0.0;
        self.before = self.top.stream(MOST_VALUES);
        self.filters.reset();
        self.quasi_peak = QuasiPeak::new(self.rate_hz);
        self.live = Live::new(self.rate_hz);
    }

    /// Nobody will ask for the live figures.
    pub fn only_totals(&mut self) {
        self.is_live = false;
    }

    /// Counts restarts.
    pub fn generation(&self) -> u64 {
        self.generation
    }

    /// The highest rate that reaches the values from here on.
    pub fn reached(&mut self, band_hz: Option<f64>) {
        self.band_hz = band_hz.unwrap_or(f64::INFINITY);
    }

    fn seconds(&self, values: usize) -> f64 {
        values as f64 / self.rate_hz
    }

    /// Values of the track, the first of them at a tick of the input; totals get
    /// them once the filters have settled.
    pub fn push(&mut self, tick: u64, values: &[f64], totals: &mut [&mut FlutterTotals]) {
        let mut held = std::mem::take(&mut self.held);
        self.tick = tick.saturating_sub(held.len() as u64);
        held.extend_from_slice(values);
        let ready = held.len().saturating_sub(self.most_held());
        self.filter(&held[..ready], totals);
        held.drain(..ready);
        self.held = held;
    }

    fn most_held(&self) -> usize {
        (HELD_S * self.rate_hz) as usize
    }

    fn filter(&mut self, values: &[f64], totals: &mut [&mut FlutterTotals]) {
        let lead_in = (LEAD_IN_S * self.rate_hz) as u64;
        let leading = lead_in.saturating_sub(self.age) as usize;
        let (leading, values) = values.split_at(leading.min(values.len()));
        self.tick += leading.len() as u64;
        for hz in leading {
            self.age += 1;
            self.lead_in += hz;
            self.offset_hz = self.lead_in / self.age as f64;
        }
        for values in values.chunks(MOST_VALUES) {
            self.line_values.clear();
            wide::run(Chain {
                meter: self,
                values,
            });
            let run = Run {
                generation: self.generation,
                moved: self.moved,
                offset_hz: self.offset_hz,
                band_hz: self.band_hz,
            };
            for total in &mut *totals {
                total.lines.push(&run, &self.line_values);
            }
            for k in 0..values.len() {
                self.age += 1;
                let filtering_s = (self.age - lead_in) as f64 / self.rate_hz;
                self.add(self.filtered[k], filtering_s, totals);
            }
        }
    }

    /// What was filtered of one value.
    #[inline]
    fn add(&mut self, filtered: [f64; 4], filtering_s: f64, totals: &mut [&mut FlutterTotals]) {
        let tick = self.tick;
        self.tick += 1;
        let squares = filtered.map(|value| value * value);
        let [weighted, unweighted, ..] = filtered;
        let peak = self.quasi_peak.push(weighted);
        if self.is_live && filtering_s > EARLY_SETTLING_S {
            self.live.show_early(squares[3]);
        }
        if filtering_s <= SETTLING_S {
            return;
        }
        let bins = [weighted, unweighted].map(TwoSigma::bin);
        if self.is_live {
            self.live.show(squares, bins[0], peak);
        }
        for total in totals {
            total.push(tick, squares, bins, peak);
        }
    }

    /// The live figures and, while the weighted ones are not valid, how many
    /// seconds it takes until they are.
    pub fn figures(&self) -> (FlutterHz, Option<f64>) {
        let mut figures = FlutterHz::default();
        let live = &self.live;
        let count = live.window.len();
        let rms = |sum: f64, count: usize| Some((sum.max(0.0) / count.max(1) as f64).sqrt());
        if self.seconds(live.early.len()) >= EARLY_LEAST_S * 0.99 {
            figures.flutter_rms = rms(live.early_sum, live.early.len());
        }
        let missing = LEAST_S - self.seconds(count);
        if missing > 0.0 {
            let filtering_s = self.seconds(self.age as usize) - LEAD_IN_S;
            let settling = (SETTLING_S - filtering_s).max(0.0);
            let held = self.seconds(self.most_held() - self.held.len());
            return (figures, Some(held + settling + missing));
        }
        let [weighted_rms, unweighted_rms, wow_rms, flutter_rms] =
            live.sums.map(|sum| rms(sum, count));
        let weighted_two_sigma = live.two_sigma.level();
        let scatter = live.recent.scatter();
        let figures = FlutterHz {
            weighted_two_sigma,
            weighted_peak: Some(self.quasi_peak.reading()),
            weighted_rms,
            unweighted_two_sigma: None,
            unweighted_rms,
            wow_rms,
            flutter_rms,
            weighted_two_sigma_uncertainty: times(scatter.levels.two_sigma, weighted_two_sigma),
            weighted_peak_uncertainty: scatter.reading,
            weighted_rms_uncertainty: times(scatter.levels.rms, weighted_rms),
        };
        (figures, None)
    }
}

/// Of so many values of the track one is kept for the lines.
fn line_step(rate_hz: f64) -> usize {
    ((rate_hz / LINES_HZ) as usize).max(1)
}

/// A relative uncertainty of a figure in the unit of the figure.
fn times(relative: Option<f64>, figure: Option<f64>) -> Option<f64> {
    Some(relative? * figure?)
}

fn add(sums: &mut Squares, squares: Squares, sign: f64) {
    for (sum, square) in sums.iter_mut().zip(squares) {
        *sum += sign * square;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};
    use rand_pcg::Pcg64Mcg;

    const RATE_HZ: f64 = 200.0;

    /// Quasi-peak ± of noise with a correlation time of a tenth of a second,
    /// after each of two lengths.
    fn peak_uncertainties(lengths_s: [u32; 2], seed: u64) -> [f64; 2] {
        let mut random = Pcg64Mcg::seed_from_u64(seed);
        let mut totals = FlutterTotals::new(RATE_HZ);
        let mut indicator = QuasiPeak::new(RATE_HZ);
        let mut weighted = 0.0;
        let mut seen_s = 0;
        lengths_s.map(|length_s| {
            for tick in 0..(length_s - seen_s) * RATE_HZ as u32 {
                let fresh = f64::from(random.next_u32()) / f64::from(u32::MAX) - 0.5;
                weighted = 0.95 * weighted + fresh;
                let squares = [weighted * weighted, 0.0, 0.0, 0.0];
                let bin = TwoSigma::bin(weighted);
                totals.push(tick.into(), squares, [bin, bin], indicator.push(weighted));
            }
            seen_s = length_s;
            let known = totals.figures().weighted_peak_uncertainty;
            known.expect("long enough")
        })
    }

    #[test]
    fn a_long_stretch_knows_its_highest_reading_little_better_than_a_short_one() {
        // The highest of 1800 s scatters √((1 + 0.35 ln 180)/(1 + 0.35 ln 1800))
        // = 0.88 times as much as that of 180 s; what single seconds show of it
        // scatters itself.
        for seed in 0..4 {
            let [short, long] = peak_uncertainties([180, 1800], seed);
            let ratio = long / short;
            assert!(
                (0.6..1.15).contains(&ratio),
                "{seed}: {short}, {long}: {ratio}"
            );
        }
    }

    #[test]
    fn a_wavering_tone_reads_the_same_without_fused_multiplication() {
        use crate::readings::{ChannelChoice, Conditions, Engine, Settings};
        use crate::units::Percent;
        let sample = |n: u32| {
            let t = f64::from(n) / 44_100.0;
            let turns = 3118.5 * t + 0.8 * (7.0 * t).sin();
            0.5 * (std::f64::consts::TAU * turns).sin() as f32
        };
        let samples: Vec<f32> = (0..12 * 44_100).map(sample).collect();
        let read = || {
            let mut engine = Engine::new(Settings {
                rate_hz: 44_100,
                channels: 1,
                choice: ChannelChoice::Auto,
                conditions: Conditions::default(),
                tolerance: Percent(0.5),
            });
            let engine = engine.as_mut().expect("a usual format");
            engine.push(&samples);
            let got = engine.measurement();
            let speed = got.speed.expect("a speed").deviation.0;
            [speed, got.flutter.weighted_rms.expect("long enough").0]
        };
        let [usual, plain] = [read(), crate::signal::wide::tests::plainly(read)];
        for (usual, plain) in usual.into_iter().zip(plain) {
            assert!((usual - plain).abs() < 1e-6, "{usual} and {plain}");
        }
    }
}
