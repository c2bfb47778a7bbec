//! The contact check: a volume control or a switch is worked while a tone or
//! music plays, and what its contacts do to the sound is found out.
//!
//! It needs no tone: what contact does acts on whatever plays. A break takes
//! the level down and up again faster than a hand or music can; a crackle is
//! an impulse that nothing before and after explains. [`ContactCheck`] is the
//! only door: samples in, a [`ContactReport`] out; it counts samples and knows
//! no clock, and the same samples give the same report whatever the block
//! size.
//!
//! Constants of this folder that say nothing else are tuned, on the seeds of
//! `cargo bench --bench contact -- 40 calibrate`; without `calibrate` other
//! seeds judge them.

mod breaks;
mod crackles;
mod edges;
mod levels;
mod presence;
mod report;
mod silences;
mod track;

use levels::Levels;
use track::Track;

pub use report::{
    ContactBreak, ContactChannel, ContactReport, ContactTrack, ContactVerdict, MARK_DB, MARKS,
};

use crate::signal::level::tame;
use crate::units::Seconds;

/// Frames taken at once: 21 ms at 48 kHz.
const PIECE_FRAMES: usize = 1024;

/// See the module.
pub struct ContactCheck {
    rate_hz: f64,
    channels: usize,
    tracks: Vec<Track>,
    levels: Levels,
    frames: u64,
    one: Vec<f32>,
    /// Interleaved samples of what is checked that wait for a whole piece.
    pending: Vec<f32>,
}

impl ContactCheck {
    /// A check of interleaved sound. Of more than two channels the first two
    /// are checked.
    pub fn new(rate_hz: u32, channels: u16) -> Self {
        let rate_hz = f64::from(rate_hz.max(1));
        let channels = usize::from(channels.max(1));
        let checked = channels.min(2);
        let names = match checked {
            1 => &[ContactTrack::Mono][..],
            _ => &[ContactTrack::Left, ContactTrack::Right],
        };
        Self {
            rate_hz,
            channels,
            tracks: names
                .iter()
                .map(|name| Track::new(*name, rate_hz))
                .collect(),
            levels: Levels::new(rate_hz, checked),
            frames: 0,
            one: Vec::new(),
            pending: Vec::new(),
        }
    }

    /// Whether it checks sound of this rate and this many channels.
    pub fn is_of(&self, rate_hz: u32, channels: u16) -> bool {
        (self.rate_hz - f64::from(rate_hz.max(1))).abs() < 0.5
            && self.channels == usize::from(channels.max(1))
    }

    /// Takes interleaved samples; what does not fill a frame is left out. Samples
    /// that are no number, or wildly beyond full scale, count as 0.
    pub fn push(&mut self, interleaved: &[f32]) {
        let checked = self.tracks.len();
        let mut pending = std::mem::take(&mut self.pending);
        // Only what is checked: a header may claim thousands of channels.
        let frames = interleaved.chunks_exact(self.channels);
        pending.extend(frames.flat_map(|frame| frame[..checked].iter().map(|it| tame(*it))));
        // Always in pieces of one size, so that nothing depends on the caller's.
        let pieces = pending.chunks_exact(PIECE_FRAMES * checked);
        self.pending = pieces.remainder().to_vec();
        for piece in pieces {
            self.push_piece(piece);
        }
    }

    fn push_piece(&mut self, interleaved: &[f32]) {
        let frames = interleaved.chunks_exact(self.tracks.len());
        for frame in frames.clone() {
            self.frames += 1;
            if self.levels.push(frame) {
                let now = self.frames as f64 / self.rate_hz;
                for (nth, track) in self.tracks.iter_mut().enumerate() {
                    track.remember_level(now, self.levels.now(nth));
                }
            }
        }
        for (nth, track) in self.tracks.iter_mut().enumerate() {
            self.one.clear();
            self.one.extend(frames.clone().map(|frame| frame[nth]));
            track.push(&self.one);
        }
    }

    fn push_pending(&mut self) {
        let pending = std::mem::take(&mut self.pending);
        self.push_piece(&pending);
    }

    /// Frames are missing here: what lies on either side does not belong
    /// together.
    pub fn gap(&mut self) {
        self.push_pending();
        for track in &mut self.tracks {
            track.start_anew();
        }
    }

    /// How it stands. What came in the last half second is not judged yet.
    pub fn progress(&self) -> ContactReport {
        ContactReport {
            duration: Seconds(self.frames as f64 / self.rate_hz),
            channels: self
                .tracks
                .iter()
                .enumerate()
                .map(|(nth, track)| ContactChannel {
                    track: track.name,
                    now: self.levels.now(nth),
                    level: self.levels.range(nth),
                    gone: self.levels.gone(nth),
                    crackles: track.crackles,
                    break_count: track.break_count,
                    breaks: track.breaks_in_order(),
                    crackle_places: track.crackle_places.clone(),
                })
                .collect(),
            tracking: self.levels.tracking(),
            passes: self.levels.passes(),
        }
    }

    /// What all of it comes to. Whether contact broke in its last 50 ms cannot be
    /// told: nothing behind it shows what was missing.
    pub fn report(&mut self) -> ContactReport {
        self.push_pending();
        for track in &mut self.tracks {
            track.finish();
        }
        self.progress()
    }
}
