//! What the tape says of itself: the idents in the samples of an input.

use super::caution::{Caution, CautionCode, Origin};
use super::found::TapeIdent;
use super::measurement::Measurement;
use crate::signal::ident::{Ident, IdentEar};
use crate::signal::level;
use crate::signal::tracker::MOST_CHANNELS;

/// Levels are compared over this time.
const BLOCK_S: f64 = 0.1;

/// A tape that has been quieter than its ident by this ratio of powers, 20 dB,
/// for this long has been stopped, and another may come.
const QUIET_RATIO: f64 = 0.01;
const QUIET_S: f64 = 5.0;

impl From<&Ident> for TapeIdent {
    fn from(ident: &Ident) -> Self {
        Self {
            machine: ident.machine().to_owned(),
            date: ident.date().to_string(),
            nominal: ident.nominal(),
        }
    }
}

impl Measurement {
    /// Adds what the tape said of itself, and what must be said about that.
    pub fn tell_ident(&mut self, ident: TapeIdent) {
        self.answer_where_recorded(&Origin::OfIdent(ident.machine.clone()));
        if let Some(taken) = self.nominal {
            if ident.contradicts(taken) {
                let told = [ident.nominal, taken].map(|tone| format!("tone:{}", tone.0));
                self.cautions.push(Caution::Contradicts(told, None));
            } else {
                // The tape says which of two tones it is.
                self.cautions
                    .retain(|it| it.code() != CautionCode::ReferenceAmbiguous);
            }
        }
        self.ident = Some(ident);
    }
}

/// Listens to both channels by themselves: one is enough, and two that cancel
/// each other do no harm.
#[derive(Clone, Debug)]
pub struct IdentListener {
    ears: Vec<IdentEar>,
    /// The newest one, and the frame at which it had ended.
    newest: Option<(Ident, u64)>,
    frames: u64,
    /// `None` for a recording, of which all is one tape.
    stop: Option<Stop>,
    /// Room for the samples of each channel.
    split: Vec<Vec<f32>>,
}

impl IdentListener {
    /// For an input of `channels` at `rate_hz`, at least 8000 samples a
    /// second; beyond two channels the first two are listened to.
    pub fn new(rate_hz: u32, channels: u16) -> Self {
        let ears = usize::from(channels).clamp(1, MOST_CHANNELS);
        Self {
            ears: vec![IdentEar::new(f64::from(rate_hz)); ears],
            newest: None,
            frames: 0,
            stop: Some(Stop::new(f64::from(rate_hz))),
            split: vec![Vec::new(); ears],
        }
    }

    /// For a recording: all of it is one tape.
    pub fn of_recording(mut self) -> Self {
        self.stop = None;
        self
    }

    /// Takes the newest samples of each channel.
    pub fn push<'a>(&mut self, channels: impl IntoIterator<Item = &'a [f32]>) {
        let mut newest = None;
        for (number, (ear, samples)) in self.ears.iter_mut().zip(channels).enumerate() {
            if number == 0 {
                self.frames += samples.len() as u64;
            }
            if let Some(stop) = &mut self.stop {
                stop.push(number, samples);
            }
            ear.push(samples, |ident| {
                newest = Some(ident);
                self.stop.iter_mut().for_each(Stop::heard);
            });
        }
        let at = self.frames;
        self.newest = newest.map(|ident| (ident, at)).or(self.newest.take());
    }

    /// The same of interleaved samples, whole frames.
    pub fn push_interleaved(&mut self, samples: &[f32], channels: u16) {
        let mut split = std::mem::take(&mut self.split);
        split.iter_mut().for_each(Vec::clear);
        level::split(samples, usize::from(channels.max(1)), &mut split);
        self.push(split.iter().map(Vec::as_slice));
        self.split = split;
    }

    /// The newest ident that was heard.
    pub fn newest(&self) -> Option<&Ident> {
        self.newest.as_ref().map(|(ident, _)| ident)
    }

    /// The frame at which it had ended, to within a block of samples.
    pub fn newest_at(&self) -> Option<u64> {
        self.newest.as_ref().map(|(_, at)| *at)
    }

    /// The ident of the tape that still runs: none once it was stopped, since
    /// the next may be another.
    pub fn of_this_tape(&self) -> Option<&Ident> {
        let is_stopped = self.stop.as_ref().is_some_and(|stop| stop.is_stopped);
        self.newest().filter(|_| !is_stopped)
    }
}

/// Has the tape been stopped since its ident?
#[derive(Clone, Debug)]
struct Stop {
    block: usize,
    rate_hz: f64,
    /// Sum of squares and number of samples, by channel.
    sums: [(f64, usize); MOST_CHANNELS],
    /// Mean square of the last block, by channel.
    powers: [f64; MOST_CHANNELS],
    ident_power: f64,
    quiet_blocks: f64,
    is_stopped: bool,
}

impl Stop {
    fn new(rate_hz: f64) -> Self {
        Self {
            block: (BLOCK_S * rate_hz) as usize,
            rate_hz,
            sums: [(0.0, 0); MOST_CHANNELS],
            powers: [0.0; MOST_CHANNELS],
            ident_power: 0.0,
            quiet_blocks: 0.0,
            is_stopped: false,
        }
    }

    fn push(&mut self, channel: usize, samples: &[f32]) {
        for sample in samples {
            let (sum, count) = &mut self.sums[channel];
            *sum += f64::from(*sample).powi(2);
            *count += 1;
            if *count == self.block {
                self.powers[channel] = *sum / *count as f64;
                self.sums[channel] = (0.0, 0);
                self.end_block(channel);
            }
        }
    }

    /// The first channel counts the time.
    fn end_block(&mut self, channel: usize) {
        if self.loudest() > QUIET_RATIO * self.ident_power {
            self.quiet_blocks = 0.0;
        } else if channel == 0 {
            self.quiet_blocks += 1.0;
            let quiet_s = self.quiet_blocks * self.block as f64 / self.rate_hz;
            self.is_stopped |= quiet_s >= QUIET_S;
        }
    }

    fn loudest(&self) -> f64 {
        self.powers.iter().copied().fold(0.0, f64::max)
    }

    /// An ident ends here.
    fn heard(&mut self) {
        self.ident_power = self.loudest();
        self.quiet_blocks = 0.0;
        self.is_stopped = false;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::ident::IdentBurst;
    use crate::signal::tone::{Sound, Tone};
    use crate::units::Hertz;

    const RATE: f64 = 48_000.0;

    fn sound(sound: &dyn Sound) -> Vec<f32> {
        (0..sound.length())
            .map(|n| sound.sample(n) as f32)
            .collect()
    }

    fn ident() -> Ident {
        let day = jiff::civil::date(2026, 11, 26);
        Ident::new("Bench deck 2", day, Hertz(3150.0)).unwrap()
    }

    #[test]
    fn one_channel_is_enough() {
        let said = sound(&IdentBurst::new(&ident(), RATE, 0.25));
        let silent = vec![0.0; said.len()];
        for channels in [[&said, &silent], [&silent, &said]] {
            let mut listener = IdentListener::new(48_000, 2);
            listener.push(channels.map(Vec::as_slice));
            assert_eq!(listener.newest(), Some(&ident()));
        }
    }

    #[test]
    fn a_tape_that_was_stopped_has_no_ident_any_more() {
        let mut listener = IdentListener::new(48_000, 1);
        listener.push([sound(&IdentBurst::new(&ident(), RATE, 0.25)).as_slice()]);
        let tone = sound(&Tone::new(3150.0, RATE, 0.25, 480_000, 480));
        listener.push([tone.as_slice()]);
        assert_eq!(listener.of_this_tape(), Some(&ident()));
        listener.push([vec![0.001; 4 * 48_000].as_slice()]);
        assert_eq!(listener.of_this_tape(), Some(&ident()));
        listener.push([vec![0.001; 2 * 48_000].as_slice()]);
        assert_eq!(listener.of_this_tape(), None);
        assert_eq!(listener.newest(), Some(&ident()));
        listener.push([tone.as_slice()]);
        assert_eq!(listener.of_this_tape(), None);
    }
}
