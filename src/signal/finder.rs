//! Finds a steady tone in whatever comes in.
//!
//! A spectrum of each channel every 25 ms over the last 100 ms; a tone is one
//! line that holds most of the power of a channel, with its harmonics, and
//! stays where it is from one spectrum to the next. What the other channel
//! carries does not hide it.

use super::spectrum::Spectrum;

/// Length of a spectrum, and time from one to the next. A choice.
const BLOCK_S: f64 = 0.1;
const HOP_S: f64 = 0.025;

/// Part of the power that must lie in the tone and its harmonics: more than all
/// the rest.
const LEAST_SHARE: f64 = 0.5;

/// Faster glides than this are no tape: 20 % a second, and the scatter of the
/// interpolated peak.
const MOST_CHANGE_PER_HOP: f64 = 0.2 * HOP_S + 0.002;

/// Spectra in a row that must agree. Tuned with what is believed later
/// (`--bench refusal`).
const CONFIRMATIONS: u32 = 4;

/// Half of a line's width: flutter of 1 % and the window spread it this far.
const LINE_HALF_WIDTH_HZ: f64 = 30.0;
const LINE_HALF_WIDTH_RELATIVE: f64 = 0.012;

/// Tones that are looked for, in hertz.
const LOWEST_HZ: f64 = 40.0;
const HIGHEST_HZ: f64 = 21_000.0;

/// A line that holds most of the power.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Its frequency.
    pub hz: f64,
    /// Mean square of the line in each channel; the second is 0 for mono.
    pub power: [f64; 2],
    /// The line against all else in each channel, its harmonics left out, as
    /// a ratio of powers.
    pub quality: [f64; 2],
    /// Part of the power of the best channel that lies in the line.
    pub alone: f64,
    /// The same with its harmonics.
    pub share: f64,
    /// Consecutive spectra that agree on it.
    pub confirmations: u32,
}

impl Line {
    /// True when it was steady for long enough to be followed.
    pub fn is_confirmed(&self) -> bool {
        self.confirmations >= CONFIRMATIONS
    }

    /// True when it has been steady for half a second.
    pub fn is_lasting(&self) -> bool {
        f64::from(self.confirmations) * HOP_S >= 0.5
    }
}

/// Powers of one channel.
struct Parts {
    line: f64,
    harmonics: f64,
    total: f64,
}

impl Parts {
    fn share(&self) -> f64 {
        (self.line + self.harmonics) / self.total
    }
}

/// Looks for a tone.
pub struct Finder {
    spectrum: Spectrum,
    power: [Vec<f32>; 2],
    nyquist_hz: f64,
    lines: [Option<Line>; 2],
}

impl Finder {
    /// For a sample rate.
    pub fn new(rate_hz: f64) -> Self {
        let spectrum = Spectrum::new((BLOCK_S * rate_hz) as usize, 2, rate_hz);
        let bins = spectrum.bins();
        Self {
            spectrum,
            power: [vec![0.0; bins], vec![0.0; bins]],
            nyquist_hz: rate_hz / 2.0,
            lines: [None; 2],
        }
    }

    /// Samples in a block.
    pub fn block(&self) -> usize {
        self.spectrum.length()
    }

    /// Samples between two looks, in whole ticks.
    pub fn hop(rate_hz: f64, tick: usize) -> usize {
        ((HOP_S * rate_hz) as usize / tick).max(1) * tick
    }

    /// How much of the past a confirmed tone is known to fill.
    pub fn confirmed_span_s() -> f64 {
        BLOCK_S + f64::from(CONFIRMATIONS - 1) * HOP_S
    }

    /// How much of that may lie before the tone began: a block shows a tone
    /// that fills its last part only.
    pub fn onset_s() -> f64 {
        0.8 * BLOCK_S
    }

    /// Forgets what it saw.
    pub fn reset(&mut self) {
        self.lines = [None; 2];
    }

    /// Looks at the newest block of each channel; returns the line of each.
    pub fn look(&mut self, blocks: &[&[f32]]) -> [Option<Line>; 2] {
        for (power, block) in self.power.iter_mut().zip(blocks) {
            power.fill(0.0);
            self.spectrum.add_power(block, power);
        }
        for channel in 0..blocks.len() {
            let found = self.strongest(channel, blocks.len());
            self.lines[channel] = match (found, self.lines[channel]) {
                (Some(new), Some(old)) if (new.hz / old.hz - 1.0).abs() < MOST_CHANGE_PER_HOP => {
                    Some(Line {
                        confirmations: old.confirmations + 1,
                        ..new
                    })
                }
                (found, _) => found,
            };
        }
        self.lines
    }

    /// The strongest line of a channel, if it holds most of the power there.
    fn strongest(&self, channel: usize, channels: usize) -> Option<Line> {
        let highest = (0.96 * self.nyquist_hz).min(HIGHEST_HZ);
        let power = &self.power[channel];
        let hz = self.spectrum.peak(power, LOWEST_HZ, highest)?.hz;
        let best = self.parts(power, hz, highest);
        if best.share() < LEAST_SHARE || best.total < 1e-10 {
            return None;
        }
        let mut line = Line {
            hz,
            power: [0.0; 2],
            quality: [0.0; 2],
            alone: best.line / best.total,
            share: best.share(),
            confirmations: 1,
        };
        for (channel, power) in self.power.iter().take(channels).enumerate() {
            let parts = self.parts(power, hz, highest);
            line.power[channel] = parts.line;
            let rest = (parts.total - parts.line - parts.harmonics).max(1e-4 * parts.total);
            line.quality[channel] = parts.line / rest.max(1e-12);
        }
        Some(line)
    }

    fn parts(&self, power: &[f32], line_hz: f64, highest_hz: f64) -> Parts {
        let around = |hz: f64| {
            let half = LINE_HALF_WIDTH_HZ.max(LINE_HALF_WIDTH_RELATIVE * hz);
            // Room between the harmonics of a low one: no bin counts twice.
            let (from, to) = self.bins_around(hz, half.min(line_hz / 3.0));
            band_power(power, from, to)
        };
        let harmonics = (2..12).map(|k| f64::from(k) * line_hz);
        Parts {
            line: around(line_hz),
            harmonics: harmonics
                .take_while(|&hz| hz < highest_hz)
                .map(around)
                .sum(),
            total: band_power(power, 2, power.len() - 1),
        }
    }

    fn bins_around(&self, hz: f64, half_hz: f64) -> (usize, usize) {
        (
            self.spectrum.bin_of((hz - half_hz).max(0.0)),
            self.spectrum.bin_of(hz + half_hz),
        )
    }
}

fn band_power(power: &[f32], from: usize, to: usize) -> f64 {
    power[from..=to].iter().map(|&p| f64::from(p)).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn looks(make: impl Fn(usize) -> f32) -> Option<Line> {
        let mut finder = Finder::new(48_000.0);
        let hop = Finder::hop(48_000.0, 24);
        let mut line = None;
        for look in 0..6 {
            let block: Vec<f32> = (0..finder.block()).map(|k| make(look * hop + k)).collect();
            [line, _] = finder.look(&[&block]);
        }
        line
    }

    #[test]
    fn a_tone_is_confirmed() {
        let line = looks(|n| (0.1 * (std::f64::consts::TAU * 0.0644 * n as f64).sin()) as f32)
            .expect("a line");
        assert!(line.is_confirmed());
        assert!((line.hz / (0.0644 * 48_000.0) - 1.0).abs() < 1e-4);
        assert!((line.power[0] / 0.005 - 1.0).abs() < 0.01);
    }

    #[test]
    fn a_low_line_holds_no_more_than_all_there_is() {
        for hz in [42.0, 45.0, 50.0, 59.0, 61.0] {
            let line = looks(|n| {
                let turns = |hz: f64| (std::f64::consts::TAU * hz * n as f64 / 48_000.0).sin();
                // A low note, and others that are none of its harmonics.
                (0.2 * turns(hz) + 0.15 * turns(2.5 * hz) + 0.15 * turns(3.5 * hz)) as f32
            });
            let share = line.map_or(0.0, |line| line.share);
            assert!(share < 0.9, "{hz}: {share}");
        }
    }

    #[test]
    fn silence_clicks_and_fast_glides_are_not() {
        let confirmed = |line: Option<Line>| line.is_some_and(|line| line.is_confirmed());
        assert!(!confirmed(looks(|_| 0.0)));
        assert!(!confirmed(looks(|n| if n % 9600 == 0 { 1.0 } else { 0.0 })));
        // 100 % a second: phase = f (t + t²/2).
        assert!(!confirmed(looks(|n| {
            let t = n as f64 / 48_000.0;
            (std::f64::consts::TAU * 3000.0 * (t + t * t / 2.0)).sin() as f32
        })));
    }
}
