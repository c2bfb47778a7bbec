//! Which note explains the lines of a spectrum?
//!
//! Every line is taken for every partial of a note in turn. The series that
//! explains most of what stands above the noise is the note; where several do
//! as well, the highest is, for every note is also explained by one an octave
//! below it with half of its partials missing.

use super::lines::SpectralLine;
use super::series::{Fitted, MOST_STIFFNESS, Measured, Series, fit};
use crate::signal::resample::greatest_common_divisor;

/// Lines further below the strongest than this neither speak for a series nor
/// against it.
const DEPTH_DB: f64 = 46.0;

/// Partials that are looked for, and taken for the first guess.
const MOST_PARTIALS: u32 = 40;
const GUESSED: u32 = 12;

/// The number of strongest lines that are guessed from.
const GUESSED_FROM: usize = 12;

/// A line belongs to a partial within this many turns over the block, or within
/// the part of its frequency that it is thought to waver by; but never further
/// away than a part of the fundamental.
const NEAR_TURNS: f64 = 0.7;

/// Stiffnesses that are tried, and the number of best guesses they are tried
/// with.
const STIFF: usize = 16;
const STIFFNESSES: [f64; 6] = [5e-5, 1.5e-4, 3.5e-4, 7e-4, 1.2e-3, MOST_STIFFNESS];

/// The number of best series that are fitted to their lines before one is
/// chosen, and the steps of each fit: with the better series some lines come and
/// some go.
const REFINED: usize = 12;
const STEPS: usize = 4;

/// A lower series must explain this much more than a higher one.
const BETTER: f64 = 0.12;

/// Partials that make a note rich: how many, no further below the strongest,
/// as a ratio of powers.
const RICH: usize = 3;
const RICH_DEPTH: f64 = 1e-3;

/// A note that explains the lines.
#[derive(Clone, Debug)]
pub struct Explained {
    /// The series, fitted to the lines.
    pub fitted: Fitted,
    /// Its partials: number, and line.
    pub partials: Vec<(u32, SpectralLine)>,
    /// Power of what an organ's other stops add to it below and between.
    pub stops: f64,
    /// Part of the lines' power that it explains.
    pub power_share: f64,
    question: Question,
}

impl Explained {
    /// Mean square of the note, with an organ's other stops.
    pub fn power(&self) -> f64 {
        let partials = self.partials.iter().map(|(_, line)| line.power);
        partials.sum::<f64>() + self.stops
    }

    /// The partial that a line belongs to; what wavers has several lines.
    pub fn owner(&self, line: &SpectralLine) -> Option<u32> {
        owner(line, &self.fitted.series, &self.question)
    }

    /// Partials of about the power of the strongest are many.
    pub fn is_rich(&self) -> bool {
        let powers = || self.partials.iter().map(|(_, line)| line.power);
        let strongest = powers().fold(0.0, f64::max);
        let near = powers().filter(|power| *power > RICH_DEPTH * strongest);
        near.count() >= RICH
    }

    /// The fundamental that its partials have in common, in hertz, and the
    /// number of the lowest in that series: a note beyond what was asked for
    /// shows as every other partial of one within.
    pub fn in_common(&self) -> (f64, u32) {
        let numbers = self.partials.iter().map(|(number, _)| *number);
        let divisor = numbers.clone().fold(0, greatest_common_divisor).max(1);
        let lowest = numbers.min().unwrap_or(divisor);
        (f64::from(divisor) * self.fitted.series.hz, lowest / divisor)
    }
}

/// What is asked of [`explain`].
#[derive(Clone, Copy, Debug)]
pub struct Question {
    /// Fundamentals that are considered, in hertz.
    pub range_hz: [f64; 2],
    /// Length of the block.
    pub block_s: f64,
    /// How far a partial may waver.
    pub waver: Waver,
}

/// How far a partial is thought to waver within a block.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Waver {
    /// As a part of its frequency.
    pub relative: f64,
    /// At most, as a part of the fundamental.
    pub most: f64,
}

impl Waver {
    /// A steady note.
    pub const STEADY: Self = Self {
        relative: 0.0025,
        most: 0.12,
    };
    /// Vibrato of a quarter of a tone and more: its partials are bands.
    pub const WIDE: Self = Self {
        relative: 0.035,
        most: 0.22,
    };
}

/// A line with what it counts.
struct Weighed {
    line: SpectralLine,
    counts: f64,
}

/// The note that explains the lines best; `None` without lines or with
/// nothing in the range.
pub fn explain(lines: &[SpectralLine], question: &Question) -> Option<Explained> {
    let strongest = lines.iter().map(|line| line.power).fold(0.0, f64::max);
    let floor = strongest * 10f64.powf(-DEPTH_DB / 10.0);
    let weighed: Vec<Weighed> = lines
        .iter()
        .filter(|line| line.power > floor)
        .map(|&line| Weighed {
            counts: 10.0 * (line.power / floor).min(line.above_noise).max(1.0).log10(),
            line,
        })
        .collect();
    let all: f64 = weighed.iter().map(|one| one.counts).sum();
    if all <= 0.0 {
        return None;
    }
    let guesses = guesses(&weighed, question);
    let scored = scored(&weighed, guesses, question, all);
    let best = scored.iter().map(|(score, _)| *score).fold(0.0, f64::max);
    let highest = scored
        .iter()
        .filter(|(score, _)| *score >= best - BETTER && *score > 0.0)
        .map(|(_, series)| series.hz)
        .fold(0.0, f64::max);
    // Guesses of one note from several lines differ by a little: of those
    // near the highest the best.
    let series = scored
        .iter()
        .filter(|(score, series)| series.hz > highest / 1.03 && *score >= best - BETTER)
        .max_by(|a, b| a.0.total_cmp(&b.0))?
        .1;
    finish(&weighed, series, question)
}

/// Guesses with the part of all that each explains: all without stiffness, the
/// better ones with it.
fn scored(
    weighed: &[Weighed],
    guesses: Vec<f64>,
    question: &Question,
    all: f64,
) -> Vec<(f64, Series)> {
    let of = |series: Series| {
        // Of equals the plainer one.
        let doubt = if series.stiffness > 0.0 { 0.02 } else { 0.0 };
        (score(weighed, &series, question) / all - doubt, series)
    };
    let plain = |hz| of(Series { hz, stiffness: 0.0 });
    let mut scored: Vec<(f64, Series)> = guesses.into_iter().map(plain).collect();
    scored.sort_by(|a, b| b.0.total_cmp(&a.0));
    let better: Vec<f64> = scored.iter().take(STIFF).map(|(_, s)| s.hz).collect();
    for stiffness in STIFFNESSES {
        scored.extend(better.iter().map(|&hz| of(Series { hz, stiffness })));
    }
    // What lies between the stiffnesses that were tried.
    scored.sort_by(|a, b| b.0.total_cmp(&a.0));
    let best: Vec<Series> = scored.iter().take(REFINED).map(|(_, s)| *s).collect();
    for series in best {
        if let Some((fitted, _)) = refined(weighed, series, question) {
            scored.push(of(fitted.series));
        }
    }
    scored
}

/// Fundamentals that would put one of the strongest lines on a partial.
fn guesses(weighed: &[Weighed], question: &Question) -> Vec<f64> {
    let mut strongest: Vec<&Weighed> = weighed.iter().collect();
    strongest.sort_by(|a, b| b.line.power.total_cmp(&a.line.power));
    strongest.truncate(GUESSED_FROM);
    let [low, high] = question.range_hz;
    strongest
        .iter()
        .flat_map(|one| (1..=GUESSED).map(|n| one.line.hz / f64::from(n)))
        .filter(|hz| (low..=high).contains(hz))
        .collect()
}

fn near(hz: f64, series: &Series, question: &Question) -> f64 {
    (NEAR_TURNS / question.block_s)
        .max(question.waver.relative * hz)
        .min(question.waver.most * series.hz)
}

fn owner(line: &SpectralLine, series: &Series, question: &Question) -> Option<u32> {
    let (n, off) = series.nearest(line.hz);
    (n <= MOST_PARTIALS && off.abs() <= near(line.hz, series, question)).then_some(n)
}

fn score(weighed: &[Weighed], series: &Series, question: &Question) -> f64 {
    weighed
        .iter()
        .filter(|one| owner(&one.line, series, question).is_some())
        .map(|one| one.counts)
        .sum()
}

/// The series fitted to its lines, and its partials.
fn refined(
    weighed: &[Weighed],
    series: Series,
    question: &Question,
) -> Option<(Fitted, Vec<(u32, SpectralLine)>)> {
    let mut series = series;
    let mut found = None;
    for _ in 0..STEPS {
        let mut partials = Vec::new();
        for one in weighed {
            if let Some(n) = owner(&one.line, &series, question) {
                keep_strongest(&mut partials, n, one.line);
            }
        }
        let measured: Vec<Measured> = partials
            .iter()
            .map(|&(n, line)| Measured {
                n,
                hz: line.hz,
                weight: line_weight(&line, question.block_s),
            })
            .collect();
        let fitted = fit(&measured)?;
        let settled = fitted.series == series;
        series = fitted.series;
        found = Some((fitted, partials));
        if settled {
            break;
        }
    }
    found
}

fn finish(weighed: &[Weighed], series: Series, question: &Question) -> Option<Explained> {
    let (fitted, partials) = refined(weighed, series, question)?;
    let explained: f64 = partials.iter().map(|(_, line)| line.power).sum();
    let power: f64 = weighed.iter().map(|one| one.line.power).sum();
    Some(Explained {
        fitted,
        stops: 0.0,
        power_share: explained / power.max(f64::MIN_POSITIVE),
        partials,
        question: *question,
    })
}

/// One line a partial: what a wavering line is split into is one.
fn keep_strongest(partials: &mut Vec<(u32, SpectralLine)>, n: u32, line: SpectralLine) {
    match partials.iter_mut().find(|(other, _)| *other == n) {
        Some((_, kept)) => {
            let power = kept.power + line.power;
            if line.power > kept.power {
                *kept = line;
            }
            kept.power = power;
        }
        None => partials.push((n, line)),
    }
}

/// 1 over the variance of the relative frequency of an interpolated peak:
/// about twice the bound of a sine in noise, var(f) = 6 / (π² T² · 2 E/N₀)
/// (Rife & Boorstyn 1974), and a hundredth of a turn that interpolation and
/// wavering leave.
fn line_weight(line: &SpectralLine, block_s: f64) -> f64 {
    let turns = 2.0 * 0.6 / line.above_noise.max(1.0) + 1e-4;
    (line.hz * block_s).powi(2) / turns
}

#[cfg(test)]
mod tests {
    use super::*;

    const QUESTION: Question = Question {
        range_hz: [90.0, 2000.0],
        block_s: 0.2,
        waver: Waver::STEADY,
    };

    fn lines(all: &[(f64, f64)]) -> Vec<SpectralLine> {
        let mut lines: Vec<SpectralLine> = all
            .iter()
            .map(|&(hz, db)| SpectralLine {
                hz,
                power: 10f64.powf(db / 10.0),
                above_noise: 10f64.powf((db + 60.0) / 10.0),
            })
            .collect();
        lines.sort_by(|a, b| a.hz.total_cmp(&b.hz));
        lines
    }

    fn heard(all: &[(f64, f64)]) -> f64 {
        explain(&lines(all), &QUESTION)
            .expect("a note")
            .fitted
            .series
            .hz
    }

    #[test]
    fn the_fundamental_is_found_whichever_partials_are_there() {
        for all in [
            &[(440.0, 0.0)][..],
            &[(440.0, 0.0), (880.0, 0.0), (1320.0, -10.0)],
            &[(880.0, 0.0), (1320.0, -3.0), (1760.0, -10.0)],
            &[
                (440.0, -35.0),
                (880.0, 0.0),
                (1760.0, -10.0),
                (1320.0, -30.0),
            ],
            &[(440.0, 0.0), (1320.0, -3.0), (2200.0, -10.0)],
        ] {
            assert!(
                (heard(all) / 440.0 - 1.0).abs() < 1e-3,
                "{all:?}: {}",
                heard(all)
            );
        }
    }

    #[test]
    fn an_octave_is_an_octave() {
        assert!((heard(&[(880.0, 0.0), (1760.0, -10.0), (2640.0, -20.0)]) - 880.0).abs() < 1.0);
        let below: Vec<(f64, f64)> = (1..9)
            .map(|n| (220.0 * f64::from(n), -3.0 * f64::from(n)))
            .collect();
        assert!((heard(&below) - 220.0).abs() < 0.5);
    }

    #[test]
    fn a_chord_is_no_note_in_the_range_of_its_tones() {
        let chord: Vec<(f64, f64)> = [440.0, 554.365, 659.255]
            .iter()
            .flat_map(|hz| (1..5).map(move |n| (hz * f64::from(n), -6.0 * f64::from(n))))
            .collect();
        let question = Question {
            range_hz: [385.0, 495.0],
            ..QUESTION
        };
        let got = explain(&lines(&chord), &question).expect("something");
        assert!(got.power_share < 0.6, "{got:?}");
    }
}
