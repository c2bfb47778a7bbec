//! The digital copy out of a sound output, at right speed and at the place
//! where the tape is: whoever tunes by ear hears the two come together.
//!
//! Tape and copy part as long as the tape is off its speed; when they are too
//! far apart the copy goes to the tape's place anew.

use std::sync::Arc;

use super::feed::FillSamples;
pub use super::handover::TapePlace;
use super::held_output::{HeldOutput, STALE};
use super::sound_error::SoundError;
use super::source::StreamFormat;
use crate::readings::matching::{self, Copy};
use crate::signal::resample::Player;
use crate::units::{Decibels, Seconds};

/// Further apart than this the ear hears an echo, and the copy is set anew.
const APART_S: f64 = 0.08;

/// From one place to another, and from silence, over this long.
const FADE_S: f64 = 0.05;

/// Samples made at once.
const PIECE: usize = 256;

/// A copy that sounds. Dropping it ends it.
#[derive(Debug)]
pub struct Listen {
    place: Arc<TapePlace>,
    output: HeldOutput,
}

impl Listen {
    /// Opens the output with this id or name; `level` is that of the copy's
    /// loudest second, root mean square, a full-scale sine being 0. Nothing
    /// sounds before a place is said, and three seconds from then on.
    pub fn start(output: &str, copy: &Arc<Copy>, level: Decibels) -> Result<Self, SoundError> {
        let place = Arc::new(TapePlace::default());
        let (heard, copy) = (Arc::clone(&place), Arc::clone(copy));
        let make = move |format, lead_in| {
            filler(
                Arc::clone(&heard),
                Arc::clone(&copy),
                format,
                level,
                lead_in,
            )
        };
        let output = HeldOutput::start(output, "copy", Box::new(make))?;
        Ok(Self { place, output })
    }

    /// What the output is called.
    pub fn name(&self) -> &str {
        self.output.name()
    }

    /// Where the tape is now; `None` for silence. To be repeated several times
    /// a second.
    pub fn say(&self, place: Option<Seconds>) {
        self.place.say(place);
    }

    /// The output is gone and waited for.
    pub fn is_lost(&self) -> bool {
        self.output.is_lost()
    }

    /// Why it is still waited for, each reason once.
    pub fn why_it_waits(&self) -> Option<String> {
        self.output.why_it_waits()
    }
}

impl Drop for Listen {
    fn drop(&mut self) {
        self.place.say(None);
    }
}

/// Plays the copy from one place on, with its own gain that goes to a goal.
#[derive(Clone, Copy, Debug, Default)]
struct Voice {
    /// In samples of the copy.
    at: f64,
    gain: f32,
    goal: f32,
}

impl Voice {
    fn is_silent(&self) -> bool {
        self.gain == 0.0 && self.goal == 0.0
    }
}

/// Two voices, of which one goes as the other comes.
struct Voices {
    player: Player,
    copy: Arc<Copy>,
    /// Samples of the copy for each of the output.
    step: f64,
    /// Change of a gain in one sample of the output.
    fade: f32,
    now: Voice,
    before: Voice,
    scratch: [f32; PIECE],
}

impl Voices {
    /// Where the tape is, in seconds.
    fn follow(&mut self, place_s: Option<f64>) {
        let Some(place_s) = place_s else {
            self.now.goal = 0.0;
            return;
        };
        let there = place_s * f64::from(matching::RATE_HZ);
        let apart_s = (there - self.now.at).abs() / f64::from(matching::RATE_HZ);
        if self.now.goal > 0.0 && apart_s < APART_S {
            return;
        }
        if !self.before.is_silent() {
            // One change at a time.
            return;
        }
        self.before = self.now;
        self.before.goal = 0.0;
        self.now = Voice {
            at: there,
            gain: 0.0,
            goal: 1.0,
        };
    }

    fn add(&mut self, output: &mut [f32; PIECE], count: usize) {
        output[..count].fill(0.0);
        for voice in [&mut self.now, &mut self.before] {
            if voice.is_silent() {
                voice.at += count as f64 * self.step;
                continue;
            }
            let made = &mut self.scratch[..count];
            self.player
                .play(self.copy.samples(), voice.at, self.step, made);
            for (sum, x) in output[..count].iter_mut().zip(made) {
                let off = voice.goal - voice.gain;
                voice.gain += off.clamp(-self.fade, self.fade);
                *sum += voice.gain * *x;
            }
            voice.at += count as f64 * self.step;
        }
    }
}

/// Fills the buffers of an output of this format with the copy at the place
/// that was said last, the same in all channels. `lead_in` of silence comes
/// first, from the first word on.
pub fn filler(
    place: Arc<TapePlace>,
    copy: Arc<Copy>,
    format: StreamFormat,
    level: Decibels,
    lead_in: Seconds,
) -> FillSamples {
    let rate_hz = f64::from(format.rate_hz);
    let channels = usize::from(format.channels.max(1));
    // The loudest second has a mean square of 1, a full-scale sine of 1/2.
    let gain = (level.amplitude_ratio() / 2f64.sqrt()) as f32;
    let mut voices = Voices {
        player: Player::default(),
        copy,
        step: f64::from(matching::RATE_HZ) / rate_hz,
        fade: (1.0 / (FADE_S * rate_hz)) as f32,
        now: Voice::default(),
        before: Voice::default(),
        scratch: [0.0; PIECE],
    };
    let mut waits = (lead_in.0 * rate_hz) as u64;
    let stale = (STALE.0 * rate_hz) as u64;
    let (mut heard, mut silent_for) = (0, 0);
    let mut made = [0.0; PIECE];
    Box::new(move |buffer| {
        let frames = (buffer.len() / channels) as u64;
        let (count, said) = place.newest();
        if count == heard {
            silent_for += frames;
        } else {
            silent_for = 0;
        }
        waits = if count > 0 {
            waits.saturating_sub(frames)
        } else {
            waits
        };
        let said = said.filter(|_| waits == 0);
        if count != heard || silent_for > stale {
            voices.follow(said.filter(|_| silent_for <= stale));
        }
        heard = count;
        for piece in buffer.chunks_mut(PIECE * channels) {
            let count = piece.len() / channels;
            voices.add(&mut made, count);
            for (frame, x) in piece.chunks_mut(channels).zip(&made) {
                frame.fill((gain * x).clamp(-1.0, 1.0));
            }
        }
        true
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::held_output::LEAD_IN;

    const FORMAT: StreamFormat = StreamFormat {
        rate_hz: 48_000,
        channels: 2,
    };

    /// Eleven seconds whose pitch rises: each place sounds otherwise.
    fn copy() -> Arc<Copy> {
        let rate = f64::from(matching::RATE_HZ);
        let samples: Vec<f32> = (0..(11.0 * rate) as usize)
            .map(|n| {
                let time_s = n as f64 / rate;
                (std::f64::consts::TAU * (200.0 + 50.0 * time_s) * time_s).sin() as f32
            })
            .collect();
        Arc::new(Copy::prepare(&samples, matching::RATE_HZ).expect("a good copy"))
    }

    /// Left channel of some blocks of 10 ms, the place said before each.
    fn played(
        fill: &mut FillSamples,
        blocks: usize,
        mut before_each: impl FnMut(usize),
    ) -> Vec<f32> {
        let mut out = Vec::new();
        for block in 0..blocks {
            before_each(block);
            let mut buffer = [0.0; 960];
            assert!(fill(&mut buffer));
            out.extend(buffer.chunks(2).map(|frame| frame[0]));
        }
        out
    }

    /// Frequency by zero crossings.
    fn hz(samples: &[f32]) -> f64 {
        let crossings = samples.windows(2).filter(|w| w[0] <= 0.0 && w[1] > 0.0);
        crossings.count() as f64 * 48_000.0 / samples.len() as f64
    }

    #[test]
    fn it_plays_at_the_place_of_the_tape_and_at_right_speed() {
        let place = Arc::new(TapePlace::default());
        let mut fill = filler(
            Arc::clone(&place),
            copy(),
            FORMAT,
            Decibels(-20.0),
            Seconds(0.0),
        );
        // The tape is at 4 s and runs 1 % slow: 10 ms apart after a second.
        let out = played(&mut fill, 100, |block| {
            place.say(Some(Seconds(4.0 + 0.0099 * block as f64)));
        });
        // 200 + 2 · 50 · t hertz at t: 650 between 4 and 5 s.
        let heard = hz(&out[4800..]);
        assert!((heard - 655.0).abs() < 5.0, "{heard}");
        let loudest = out.iter().fold(0f32, |most, x| most.max(x.abs()));
        assert!((loudest - 0.1).abs() < 0.01, "{loudest}");
    }

    #[test]
    fn a_tape_that_is_elsewhere_is_followed_without_a_click() {
        let place = Arc::new(TapePlace::default());
        let mut fill = filler(
            Arc::clone(&place),
            copy(),
            FORMAT,
            Decibels(-20.0),
            Seconds(0.0),
        );
        let out = played(&mut fill, 100, |block| {
            let jump = if block < 50 { 0.0 } else { 4.0 };
            place.say(Some(Seconds(2.0 + jump + 0.01 * block as f64)));
        });
        let heard = hz(&out[out.len() - 9600..]);
        assert!((heard - 890.0).abs() < 10.0, "{heard}");
        // 0.1 at 900 Hz changes by 0.012 from sample to sample, twice that
        // where two voices sound.
        let step = out
            .windows(2)
            .map(|w| (w[1] - w[0]).abs())
            .fold(0.0, f32::max);
        assert!(step < 0.025, "{step}");
    }

    #[test]
    fn nothing_sounds_without_a_place_nor_before_the_caution_is_read() {
        let place = Arc::new(TapePlace::default());
        let mut fill = filler(Arc::clone(&place), copy(), FORMAT, Decibels(-20.0), LEAD_IN);
        let silent = |out: &[f32]| out.iter().all(|x| *x == 0.0);
        assert!(silent(&played(&mut fill, 50, |_| {})));
        let say = |block: usize| place.say(Some(Seconds(1.0 + 0.01 * block as f64)));
        assert!(silent(&played(&mut fill, 290, say)));
        assert!(!silent(&played(&mut fill, 30, say)));
        let out = played(&mut fill, 50, |_| place.say(None));
        assert!(silent(&out[4800..]));
        // A screen that hangs.
        assert!(!silent(&played(&mut fill, 50, say)));
        let out = played(&mut fill, 200, |_| {});
        assert!(silent(&out[out.len() - 4800..]));
    }
}
