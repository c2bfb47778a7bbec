//! Sounds one after the other, with pauses, each in all channels or in one.

use super::tone::Sound;

/// One of the sounds.
struct Piece {
    /// First sample.
    from: u64,
    /// `None` sounds in all channels.
    channel: Option<usize>,
    sound: Box<dyn Sound + Send>,
}

/// A row of sounds, itself a sound.
#[derive(Default)]
pub struct Programme {
    /// In the order of time.
    pieces: Vec<Piece>,
    length: u64,
}

impl Programme {
    /// Adds a sound at the end, in all channels or in one, from 0.
    pub fn add(&mut self, sound: impl Sound + Send + 'static, channel: Option<usize>) {
        let from = self.length;
        self.length += sound.length();
        self.pieces.push(Piece {
            from,
            channel,
            sound: Box::new(sound),
        });
    }

    /// Adds samples of silence at the end.
    pub fn pause(&mut self, samples: u64) {
        self.length += samples;
    }
}

impl Sound for Programme {
    fn length(&self) -> u64 {
        self.length
    }

    fn sample(&self, number: u64) -> f64 {
        self.of_channel(0, number)
    }

    fn of_channel(&self, channel: usize, number: u64) -> f64 {
        let after = self.pieces.partition_point(|piece| piece.from <= number);
        let Some(piece) = after.checked_sub(1).and_then(|at| self.pieces.get(at)) else {
            return 0.0;
        };
        if piece.channel.is_some_and(|only| only != channel) {
            return 0.0;
        }
        piece.sound.sample(number - piece.from)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::signal::tone::Tone;

    #[test]
    fn each_sound_stands_in_its_place_and_channel() {
        let tone = |hz: f64| Tone::new(hz, 48_000.0, 0.5, 100, 0);
        let mut programme = Programme::default();
        programme.pause(10);
        programme.add(tone(1000.0), None);
        programme.pause(5);
        programme.add(tone(3000.0), Some(1));
        assert_eq!(programme.length(), 215);
        for number in 0..230u64 {
            let first = number
                .checked_sub(10)
                .map_or(0.0, |it| tone(1000.0).sample(it));
            let second = number
                .checked_sub(115)
                .map_or(0.0, |it| tone(3000.0).sample(it));
            for (channel, expected) in [(0, first), (1, first + second), (2, first)] {
                let is = programme.of_channel(channel, number);
                assert!((is - expected).abs() < 1e-12, "{channel} {number}");
            }
        }
    }
}
