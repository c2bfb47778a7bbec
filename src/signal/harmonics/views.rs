//! What one block of a channel shows of a note: the wanted one, or another.

use super::explain::{Explained, Question, Waver, explain};
use super::hearing::Hearing;
use super::lines::{LinePicker, LineSpectrum, SpectralLine};
use super::series::Fitted;
use super::stops;

/// Length of a block, in seconds and in periods of the note, whichever is more:
/// partials of a note an octave lower must stand apart.
const BLOCK_S: f64 = 0.2;
const BLOCK_PERIODS: f64 = 16.0;

/// Notes that are recognised when they are not the wanted one: two octaves
/// and a bit either way.
const FAR: f64 = 4.6;

/// No lower note is looked for.
const LOWEST_HZ: f64 = 20.0;

/// Lines are looked for up to this multiple of the wanted fundamental, and at
/// least to here.
const HIGHEST: f64 = 24.0;
const HIGH_HZ: f64 = 5000.0;

/// A note holds this part of the power of all lines, and the lines this part
/// of all power from the lowest line on.
const LEAST_SHARE: f64 = 0.85;
const LEAST_TONAL: f64 = 0.08;

/// A lower fundamental explains no more than the note itself when all it adds
/// is 20 dB weaker: what a sampled sound repeats, or what leaks into it.
const NEARLY_ALL: f64 = 0.99;

/// Quieter than this (mean square) is silence.
const SILENT_POWER: f64 = 1e-9;

/// The other channel carries something else when it is not this much quieter,
/// and this part of it is lines of its own.
const OTHER_POWER: f64 = 0.01;
const OTHER_SHARE: f64 = 0.3;

/// Blocks in which two channels show one note lie this near to it: nearer, or
/// further where by their means they are as near, for voices that beat wander.
const NEAR: f64 = 0.01;
const NEAR_FOR_NOW: f64 = 0.03;

/// One block of a channel.
pub struct View {
    spectrum: LineSpectrum,
    /// Best note within two octaves.
    pub any: Option<Explained>,
    /// What it says of the wanted note.
    pub hearing: Hearing,
}

impl View {
    /// A note that holds nearly all that is not noise.
    pub fn clear_note(&self) -> Option<&Explained> {
        let least = LEAST_TONAL * self.spectrum.total;
        let is_clear = |note: &&Explained| note.power_share >= LEAST_SHARE && note.power() > least;
        self.any.as_ref().filter(is_clear)
    }
}

/// See the module.
pub struct Viewer {
    rate_hz: f64,
    picker: LinePicker,
}

impl Viewer {
    /// For a note of this frequency.
    pub fn new(rate_hz: f64, note_hz: f64) -> Self {
        let block_s = BLOCK_S.max(BLOCK_PERIODS / note_hz);
        let low_hz = (0.8 * note_hz / FAR).max(LOWEST_HZ);
        let high_hz = (HIGHEST * note_hz).max(HIGH_HZ).min(0.47 * rate_hz);
        let block = (block_s * rate_hz) as usize;
        Self {
            rate_hz,
            picker: LinePicker::new(block, rate_hz, low_hz, high_hz),
        }
    }

    /// Samples in a block.
    pub fn block(&self) -> usize {
        self.picker.block()
    }

    /// What a block shows. Of the wanted notes only those near `near_hz`, where
    /// one is followed.
    pub fn view(&mut self, block: &[f32], wanted_hz: [f64; 2], near_hz: Option<f64>) -> View {
        let centre = (wanted_hz[0] * wanted_hz[1]).sqrt();
        let wide = Question {
            range_hz: [(centre / FAR).max(LOWEST_HZ), centre * FAR],
            block_s: self.picker.block_s(),
            waver: Waver::STEADY,
        };
        let close = Question {
            range_hz: near_hz.map_or(wanted_hz, |hz| [hz / 1.05, hz * 1.05]),
            ..wide
        };
        let spectrum = self.picker.pick(block);
        let any = (spectrum.total > SILENT_POWER).then(|| explained(&spectrum.lines, wide));
        let any = any.flatten();
        let note = note_among(&spectrum.lines, close, any.as_ref()).filter(|note| {
            note.power_share > 0.5 * LEAST_SHARE && note.power() > LEAST_TONAL * spectrum.total
        });
        let is_all = |note: &Explained| {
            any.as_ref().is_none_or(|any| {
                let lower = any.fitted.series.hz < note.fitted.series.hz;
                lower && note.power() > NEARLY_ALL * any.power()
            })
        };
        let own = note.clone();
        let any = own.filter(|note| note.stops > 0.0 || is_all(note)).or(any);
        let hz = note.as_ref().map(|note| note.fitted.series.hz).or(near_hz);
        let noise_per_hz = (1..=24u32)
            .map_while(|n| {
                let at = f64::from(n) * hz?;
                (at < 0.48 * self.rate_hz).then(|| self.picker.noise_per_hz(at))
            })
            .collect();
        View {
            spectrum,
            any,
            hearing: Hearing { note, noise_per_hz },
        }
    }
}

/// The note of this range among the lines, without what an organ's other stops
/// add to it: they show in the series of `any` note.
fn note_among(
    lines: &[SpectralLine],
    close: Question,
    any: Option<&Explained>,
) -> Option<Explained> {
    let organ = any.and_then(|any| Some((any, stops::named(any, close.range_hz)?)));
    let is_other = |line: &SpectralLine| {
        let of_stop = |(any, named): (&Explained, u32)| Some(any.owner(line)? % named != 0);
        organ.and_then(of_stop).unwrap_or(false)
    };
    let (others, own): (Vec<SpectralLine>, Vec<SpectralLine>) =
        lines.iter().copied().partition(is_other);
    let mut note = explained(&own, close)?;
    note.stops = others.iter().map(|line| line.power).sum();
    Some(note)
}

/// The note that explains the lines: a steady one, or else one that wavers.
fn explained(lines: &[SpectralLine], question: Question) -> Option<Explained> {
    let steady = explain(lines, &question);
    if steady
        .as_ref()
        .is_some_and(|note| note.power_share >= LEAST_SHARE)
    {
        return steady;
    }
    let wide = Question {
        waver: Waver::WIDE,
        ..question
    };
    let share = |note: &Option<Explained>| note.as_ref().map_or(0.0, |note| note.power_share);
    let wavering = explain(lines, &wide);
    if share(&wavering) > share(&steady) {
        wavering
    } else {
        steady
    }
}

/// How far the partials are from being those of one note, relative. Partials
/// that crowd are of no string.
pub fn misfit(fitted: &Fitted) -> f64 {
    let crowding = -fitted.stiffness - 5.0 * fitted.stiffness_sd.min(1.0);
    // Voices that beat stray for a while, and come back.
    let beyond = fitted.residual - 2.0 * fitted.foreseen;
    if crowding > 1e-4 {
        1.0
    } else {
        beyond.max(0.0)
    }
}

/// True when one channel carries the note, and the other something else that
/// is neither much quieter nor mere noise. `apart`: how far they lie apart in
/// the mean.
pub fn has_two(views: &[View], hz: f64, apart: f64) -> bool {
    let near = if apart.abs() < NEAR {
        NEAR_FOR_NOW
    } else {
        NEAR
    };
    let is_note = |view: &View| {
        let note = view.hearing.note.as_ref();
        note.is_some_and(|note| {
            note.power_share >= LEAST_SHARE && (note.fitted.series.hz / hz - 1.0).abs() < near
        })
    };
    let [left, right] = views else {
        return false;
    };
    let (note, other) = match (is_note(left), is_note(right)) {
        (true, false) => (left, right),
        (false, true) => (right, left),
        _ => return false,
    };
    let lines: f64 = other.spectrum.lines.iter().map(|line| line.power).sum();
    other.spectrum.total > OTHER_POWER * note.spectrum.total
        && lines > OTHER_SHARE * other.spectrum.total
}
