//! Listening along a supposed course of the tape through the copy, window by
//! window, at three scales: far around, nearer, and close.

use super::RATE;
use super::closely::{BANDS, Ear, Heard, Piece, Scale};
use crate::signal::line::Line;
use crate::signal::resample::Player;

/// Far around: places that levels alone found.
pub const FAR: usize = 0;
/// Nearer: once a line is known.
pub const NEAR: usize = 1;
/// Close: following.
pub const CLOSE: usize = 2;

/// From one window to the next at each scale, in seconds of tape.
pub const HOPS_S: [f64; 3] = [0.5, 0.25, 0.125];

const SCALES: [Scale; 3] = [
    Scale {
        length: 8192,
        window_s: 0.7,
        reach_s: 0.08,
    },
    Scale {
        length: 4096,
        window_s: 0.42,
        reach_s: 0.03,
    },
    Scale {
        length: 4096,
        window_s: 0.35,
        reach_s: 0.01,
    },
];

/// Copy quieter than this says nothing (the loudest second is 1): −46 dB.
const QUIET: f32 = 0.005;

/// How far decoys lie off the place, in seconds of the copy: other sound of
/// the same music.
const DECOYS_S: [f64; 7] = [0.31, -0.47, 0.73, -0.89, 0.59, -0.37, 0.97];

/// A stretch of tape at [`super::RATE_HZ`].
#[derive(Clone, Copy)]
pub struct Tape<'a> {
    /// Its samples.
    pub samples: &'a [f32],
    /// When the first of them came, in seconds of tape.
    pub from_s: f64,
}

impl Tape<'_> {
    /// When the last of them came.
    pub fn end_s(&self) -> f64 {
        self.from_s + self.samples.len() as f64 / RATE
    }

    /// Middles of the windows of a scale.
    fn times(&self, scale: usize) -> impl Iterator<Item = f64> + use<> {
        let (hop_s, half_s) = (HOPS_S[scale], SCALES[scale].window_s / 2.0);
        let end_s = self.end_s();
        let first = ((self.from_s + half_s) / hop_s).ceil() as u64;
        (first..)
            .map(move |k| k as f64 * hop_s)
            .take_while(move |time_s| time_s + half_s <= end_s)
    }
}

/// What one window of tape is like at its place.
#[derive(Clone, Copy, Debug)]
pub struct Point {
    /// Middle of the window on the tape.
    pub time_s: f64,
    /// Place in the copy it is likest to.
    pub place_s: f64,
    /// Mean of the correlation coefficients there.
    pub correlation: f32,
    /// Place that each band finds by itself, and its coefficient.
    pub bands: [(f64, f32); BANDS],
    /// Coefficients that each band reaches somewhere near a wrong place; 0
    /// where none was tried.
    pub decoy: [f32; BANDS],
    /// False where the copy is too quiet to say anything.
    pub loud: bool,
}

/// A window of tape, made ready.
pub struct Window {
    time_s: f64,
    /// Its middle in the stretch it was taken from, in samples.
    middle: usize,
    piece: Piece,
}

impl Window {
    /// Its middle, in seconds of tape.
    pub fn time_s(&self) -> f64 {
        self.time_s
    }
}

/// Compares tape with copy.
pub struct Hearing {
    player: Player,
    ears: [Ear; 3],
    buffer: Vec<f32>,
    /// The copy beside a whole stretch of tape.
    beside: Vec<f32>,
}

impl Default for Hearing {
    fn default() -> Self {
        Self {
            player: Player::default(),
            ears: SCALES.map(Ear::new),
            buffer: Vec::new(),
            beside: Vec::new(),
        }
    }
}

impl Hearing {
    /// The copy from a place on, at a speed.
    pub fn play(&self, copy: &[f32], from_s: f64, speed: f64, output: &mut [f32]) {
        self.player.play(copy, from_s * RATE, speed, output);
    }

    /// Samples around a window's middle that are looked at.
    pub fn length(&self, scale: usize) -> usize {
        self.ears[scale].length()
    }

    /// All windows of a stretch of tape.
    pub fn windows(&mut self, tape: Tape, scale: usize) -> Vec<Window> {
        tape.times(scale)
            .map(|time_s| self.window(tape, scale, time_s))
            .collect()
    }

    /// One window.
    pub fn window(&mut self, tape: Tape, scale: usize, time_s: f64) -> Window {
        let ear = &mut self.ears[scale];
        self.buffer.resize(ear.length(), 0.0);
        let middle = ((time_s - tape.from_s) * RATE).round();
        let first = (middle - (ear.length() / 2) as f64) as i64;
        for (slot, at) in self.buffer.iter_mut().zip(first..) {
            let at = usize::try_from(at).unwrap_or(usize::MAX);
            *slot = tape.samples.get(at).copied().unwrap_or(0.0);
        }
        Window {
            time_s: tape.from_s + middle / RATE,
            middle: middle as usize,
            piece: ear.piece(&self.buffer),
        }
    }

    /// Windows of a stretch of tape along one line, each either way up;
    /// without those for which the copy has not begun yet or is over.
    pub fn both_ways(
        &mut self,
        copy: &[f32],
        tape: Tape,
        windows: &[Window],
        along: Line,
        scale: usize,
    ) -> Vec<[Point; 2]> {
        let length = self.ears[scale].length();
        let half_s = (length / 2) as f64 / RATE;
        self.beside.resize(tape.samples.len() + length, 0.0);
        let first = along.at(tape.from_s - half_s) * RATE;
        let player = &self.player;
        player.play(copy, first, along.slope, &mut self.beside);
        let mut points = Vec::with_capacity(windows.len());
        for window in windows {
            let Some(place_s) = place_in(copy, along.at(window.time_s), along, scale) else {
                continue;
            };
            // `beside` begins half a transform before the tape.
            let from = window.middle;
            let sound = &self.beside[from..from + length];
            let loud = level(sound) > QUIET;
            let heard = self.ears[scale].compare_both(&window.piece, sound);
            points.push(heard.map(|heard| point(window, place_s, along, heard, loud)));
        }
        points
    }

    /// A window at its place, a sign of −1 where the tape is upside down.
    pub fn at(
        &mut self,
        copy: &[f32],
        window: &Window,
        along: Line,
        scale: usize,
        sign: f32,
    ) -> Option<Point> {
        let place_s = self.put(copy, window, along, scale, 0.0)?;
        let loud = level(&self.buffer) > QUIET;
        let heard = self.ears[scale].compare(&window.piece, &self.buffer, sign);
        Some(point(window, place_s, along, heard, loud))
    }

    /// What each band reaches by chance: the same window at a place that is
    /// wrong by up to a second.
    pub fn decoy(
        &mut self,
        copy: &[f32],
        window: &Window,
        along: Line,
        scale: usize,
        sign: f32,
    ) -> [f32; BANDS] {
        let which = (window.time_s / HOPS_S[scale]).round() as usize % DECOYS_S.len();
        let off_s = DECOYS_S[which];
        let there = self
            .put(copy, window, along, scale, off_s)
            .or_else(|| self.put(copy, window, along, scale, -off_s));
        if there.is_none() {
            return [0.0; BANDS];
        }
        let heard = self.ears[scale].compare(&window.piece, &self.buffer, sign);
        heard.bands.map(|band| band.correlation)
    }

    /// Puts the copy around a window's place into the buffer.
    fn put(
        &mut self,
        copy: &[f32],
        window: &Window,
        along: Line,
        scale: usize,
        off_s: f64,
    ) -> Option<f64> {
        let place_s = place_in(copy, along.at(window.time_s) + off_s, along, scale)?;
        let length = self.ears[scale].length();
        self.buffer.resize(length, 0.0);
        let first = place_s * RATE - (length / 2) as f64 * along.slope;
        self.player.play(copy, first, along.slope, &mut self.buffer);
        Some(place_s)
    }
}

/// A place, if a window around it lies within the copy.
fn place_in(copy: &[f32], place_s: f64, along: Line, scale: usize) -> Option<f64> {
    let half_s = SCALES[scale].window_s / 2.0 * along.slope;
    let end_s = copy.len() as f64 / RATE;
    (half_s..=end_s - half_s)
        .contains(&place_s)
        .then_some(place_s)
}

fn point(window: &Window, place_s: f64, along: Line, heard: Heard, loud: bool) -> Point {
    let place = |lag_s: f64| place_s + along.slope * lag_s;
    Point {
        time_s: window.time_s,
        place_s: place(heard.lag_s),
        correlation: heard.correlation,
        bands: heard
            .bands
            .map(|band| (place(band.lag_s), band.correlation)),
        decoy: [0.0; BANDS],
        loud,
    }
}

fn level(samples: &[f32]) -> f32 {
    (samples.iter().map(|x| x * x).sum::<f32>() / samples.len() as f32).sqrt()
}
