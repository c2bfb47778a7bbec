//! Ticks out of a sound output for somebody who cannot look: an output that is
//! held and plays a [`Rhythm`], told what to say through atomics.

use std::sync::Arc;

use super::feed::FillSamples;
pub use super::handover::Said;
use super::held_output::{HeldOutput, STALE};
use super::sound_error::SoundError;
use super::source::StreamFormat;
use crate::signal::rhythm::{Beat, Rhythm};
use crate::units::{Decibels, Seconds};

/// Fills the buffers of an output of this format with the rhythm of what was
/// said last, the same in all channels. `lead_in` of silence comes first,
/// from the first word on.
pub fn filler(
    said: Arc<Said>,
    format: StreamFormat,
    level: Decibels,
    lead_in: Seconds,
) -> FillSamples {
    let rate_hz = f64::from(format.rate_hz);
    let channels = usize::from(format.channels.max(1));
    let mut rhythm = Rhythm::new(rate_hz, level.amplitude_ratio());
    let mut waits = (lead_in.0 * rate_hz) as u64;
    let stale = (STALE.0 * rate_hz) as u64;
    let mut heard = 0;
    let mut silent_for = 0;
    Box::new(move |buffer| {
        let frames = (buffer.len() / channels) as u64;
        let (count, beat) = said.newest();
        silent_for = if count == heard {
            silent_for + frames
        } else {
            0
        };
        heard = count;
        if count > 0 {
            waits = waits.saturating_sub(frames);
        }
        rhythm.say(if waits > 0 || silent_for > stale {
            Beat::Quiet
        } else {
            beat
        });
        for frame in buffer.chunks_mut(channels) {
            frame.fill(rhythm.sample());
        }
        true
    })
}

/// Ticks that sound. Dropping it ends them.
#[derive(Debug)]
pub struct Ticks {
    said: Arc<Said>,
    output: HeldOutput,
}

impl Ticks {
    /// Opens the output with this id or name. Nothing sounds before something
    /// is said, and three seconds from then on.
    pub fn start(output: &str, level: Decibels) -> Result<Self, SoundError> {
        let said = Arc::new(Said::default());
        let heard = Arc::clone(&said);
        let make = move |format, lead_in| filler(Arc::clone(&heard), format, level, lead_in);
        let output = HeldOutput::start(output, "ticks", Box::new(make))?;
        Ok(Self { said, output })
    }

    /// What the output is called.
    pub fn name(&self) -> &str {
        self.output.name()
    }

    /// Says something; to be repeated several times a second.
    pub fn say(&self, beat: Beat) {
        self.said.say(beat);
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

impl Drop for Ticks {
    fn drop(&mut self) {
        self.said.say(Beat::Quiet);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audio::held_output::LEAD_IN;

    const STEREO: StreamFormat = StreamFormat {
        rate_hz: 48_000,
        channels: 2,
    };
    const LEVEL: Decibels = Decibels(-20.0);

    /// Whether anything sounds in these seconds, in blocks of 10 ms.
    fn sounds(fill: &mut FillSamples, seconds: f64, mut before_each: impl FnMut()) -> bool {
        let mut anything = false;
        for _ in 0..(seconds * 100.0) as usize {
            before_each();
            let mut buffer = [0.0; 960];
            assert!(fill(&mut buffer), "ticks never end by themselves");
            anything |= buffer.iter().any(|sample| *sample != 0.0);
        }
        anything
    }

    #[test]
    fn what_is_said_arrives_whole() {
        let said = Said::default();
        assert_eq!(said.newest(), (0, Beat::Quiet));
        for (count, beat) in (1..).zip([
            Beat::Slow(0.25),
            Beat::Fast(1.0),
            Beat::Right,
            Beat::Settled,
            Beat::Stop,
            Beat::Quiet,
        ]) {
            said.say(beat);
            assert_eq!(said.newest(), (count, beat));
        }
    }

    #[test]
    fn nothing_sounds_before_the_caution_could_be_read() {
        let said = Arc::new(Said::default());
        let mut fill = filler(Arc::clone(&said), STEREO, LEVEL, LEAD_IN);
        assert!(!sounds(&mut fill, 10.0, || {}), "nobody has spoken");
        let speak = || said.say(Beat::Right);
        assert!(!sounds(&mut fill, LEAD_IN.0 - 0.1, speak));
        assert!(sounds(&mut fill, 0.5, speak));
    }

    #[test]
    fn a_screen_that_hangs_falls_silent() {
        let said = Arc::new(Said::default());
        let mut fill = filler(Arc::clone(&said), STEREO, LEVEL, Seconds(0.0));
        assert!(sounds(&mut fill, 1.0, || said.say(Beat::Right)));
        assert!(sounds(&mut fill, 1.0, || {}), "a moment is forgiven");
        assert!(!sounds(&mut fill, 5.0, || {}));
        assert!(sounds(&mut fill, 1.0, || said.say(Beat::Right)));
    }

    #[test]
    fn both_channels_carry_the_same_at_the_level_asked_for() {
        let said = Arc::new(Said::default());
        let mut fill = filler(Arc::clone(&said), STEREO, LEVEL, Seconds(0.0));
        said.say(Beat::Right);
        let mut buffer = vec![0.0; 48_000];
        assert!(fill(&mut buffer));
        assert!(
            buffer
                .chunks(2)
                .all(|frame| frame[0].to_bits() == frame[1].to_bits())
        );
        let highest = buffer.iter().fold(0.0_f32, |high, it| high.max(it.abs()));
        assert!((f64::from(highest) - 0.1).abs() < 1e-3, "{highest}");
    }
}
