//! What sounds in a series of powers, and which of it belongs to a passage:
//! lone clicks of a switch or a splice before and after it do not.

use super::envelope::SILENCE;

/// Why there is no passage.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoPassage {
    /// Nothing but silence.
    Silence,
    /// The sound is the same from the beginning to the end.
    NothingStandsOut,
    /// Sound from the first moment on.
    Begun,
    /// Sound up to the last moment.
    Unended,
    /// It fades in too slowly to say where it begins.
    FadesIn,
    /// It fades out too slowly to say where it ends.
    FadesOut,
    /// It is as quiet as the noise too often to say where it begins and ends.
    InTheNoise,
}

/// A block counts as sound this far above the noise and above this part of
/// the passage's own level; as powers. Ten times the scatter of a block of
/// hiss, and 40 dB below the passage.
const ABOVE_NOISE: f64 = 4.0;
pub(super) const BELOW_LEVEL: f64 = 1e-4;

/// Sounds with no longer pause between them are one. Tuned, as what
/// follows, and judged by `--bench references -- passage`.
const APART_S: f64 = 0.5;

/// A sound of no more than this is a click: a syllable or a note lasts longer.
const CLICK_S: f64 = 0.1;

/// A click is a lone one where the silence next to it is this many times as long
/// as the click, and this many times as long as any next to another: beats that
/// come regularly are no lone clicks.
const FAR_LONGER: f64 = 5.0;
const LONGER_THAN_OTHERS: f64 = 1.5;

/// No more of them are left out at an end: a switch and what it starts.
const MOST_CLICKS: usize = 2;

/// What tells sound from the pauses.
pub(super) struct Sounding {
    threshold: f64,
    /// Power of the louder parts.
    pub level: f64,
}

/// The blocks that a passage reaches over.
pub(super) struct Reach {
    /// First block with sound.
    pub first: usize,
    /// Last block with sound.
    pub last: usize,
    /// Clicks before and after that were left out.
    pub clicks: usize,
}

/// A sound, pauses shorter than [`APART_S`] bridged; in blocks.
#[derive(Clone, Copy, Debug)]
struct Sound {
    first: usize,
    last: usize,
    /// Those with sound in them.
    sounding: usize,
}

impl Sound {
    fn length(&self) -> usize {
        self.last + 1 - self.first
    }
}

impl Sounding {
    pub fn of(blocks: &[f64]) -> Result<Self, NoPassage> {
        // What is digitally silent says nothing about the noise of a tape.
        let quietest = blocks
            .windows(5)
            .map(|five| five.iter().sum::<f64>() / 5.0)
            .filter(|power| *power > f64::from(SILENCE))
            .fold(f64::INFINITY, f64::min);
        if quietest.is_infinite() {
            return Err(NoPassage::Silence);
        }
        let silent = blocks
            .windows(5)
            .any(|five| five.iter().all(|power| *power <= f64::from(SILENCE)));
        // The quietest of many is quieter than the mean.
        let noise = 1.3 * quietest;
        let mut loud: Vec<f64> = blocks.to_vec();
        loud.sort_by(f64::total_cmp);
        let loudest = loud[loud.len() - 1];
        if loudest < 2.0 * ABOVE_NOISE * noise && !silent {
            return Err(if loudest < 1e-9 {
                NoPassage::Silence
            } else {
                NoPassage::NothingStandsOut
            });
        }
        let noise = if loudest < 2.0 * ABOVE_NOISE * noise {
            f64::from(SILENCE)
        } else {
            noise
        };
        let heard = loud.partition_point(|power| *power < ABOVE_NOISE * noise);
        let level = loud[heard + (loud.len() - heard) * 9 / 10];
        Ok(Self {
            threshold: (ABOVE_NOISE * noise).max(BELOW_LEVEL * level),
            level,
        })
    }

    /// From the first sound to the last, lone clicks left out.
    pub fn reach(&self, blocks: &[f64], block_s: f64) -> Reach {
        let sounds = self.sounds(blocks, (APART_S / block_s).round() as usize);
        let click = (CLICK_S / block_s).round() as usize;
        let backwards: Vec<Sound> = sounds
            .iter()
            .rev()
            .map(|sound| Sound {
                first: blocks.len() - 1 - sound.last,
                last: blocks.len() - 1 - sound.first,
                ..*sound
            })
            .collect();
        let before = lone_clicks(&sounds, click);
        let after = lone_clicks(&backwards, click);
        Reach {
            first: sounds.get(before).map_or(0, |sound| sound.first),
            last: backwards
                .get(after)
                .map_or(0, |sound| blocks.len() - 1 - sound.first),
            clicks: before + after,
        }
    }

    fn sounds(&self, blocks: &[f64], apart: usize) -> Vec<Sound> {
        let mut sounds: Vec<Sound> = Vec::new();
        let sounding = |(_, power): &(usize, &f64)| **power > self.threshold;
        for (at, _) in blocks.iter().enumerate().filter(sounding) {
            match sounds.last_mut() {
                Some(sound) if at - sound.last <= apart => {
                    sound.last = at;
                    sound.sounding += 1;
                }
                _ => sounds.push(Sound {
                    first: at,
                    last: at,
                    sounding: 1,
                }),
            }
        }
        sounds
    }
}

/// How many of the first sounds are lone clicks, `click` being the longest that
/// is one.
fn lone_clicks(sounds: &[Sound], click: usize) -> usize {
    let is_click = |sound: &Sound| sound.sounding <= click;
    // What follows the passage is looked at from behind.
    let Some(last) = sounds.iter().rposition(|sound| !is_click(sound)) else {
        return 0;
    };
    let gap = |k: usize| (sounds[k + 1].first - sounds[k].last - 1) as f64;
    let is_lone = |count: &usize| {
        let own = gap(count - 1);
        sounds[..*count].iter().all(is_click)
            && own >= FAR_LONGER * sounds[count - 1].length() as f64
            && (0..last)
                .filter(|k| *k != count - 1)
                .filter(|k| is_click(&sounds[*k]) || is_click(&sounds[k + 1]))
                .all(|k| own >= LONGER_THAN_OTHERS * gap(k))
    };
    (1..=MOST_CLICKS.min(last)).rev().find(is_lone).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    const BLOCK_S: f64 = 0.02;

    /// Blocks of silence with sounds in it, by first and last second.
    fn reach(seconds: f64, sounds: &[[f64; 2]]) -> (f64, f64, usize) {
        let at = |seconds: f64| (seconds / BLOCK_S).round() as usize;
        let mut blocks = vec![0.0; at(seconds)];
        for [from, to] in sounds {
            blocks[at(*from)..at(*to)].fill(1.0);
        }
        let sounding = Sounding {
            threshold: 0.5,
            level: 1.0,
        };
        let reach = sounding.reach(&blocks, BLOCK_S);
        let seconds = |block: usize| (block as f64 * BLOCK_S * 100.0).round() / 100.0;
        (seconds(reach.first), seconds(reach.last + 1), reach.clicks)
    }

    #[test]
    fn a_lone_click_is_no_end_of_a_passage() {
        let music = [4.0, 30.0];
        for (what, click) in [("a click", [1.98, 2.0]), ("a thump", [1.9, 2.0])] {
            let got = reach(40.0, &[click, music]);
            assert_eq!(got, (4.0, 30.0, 1), "{what}");
        }
        assert_eq!(reach(40.0, &[music, [32.0, 32.02]]), (4.0, 30.0, 1));
        // A switch, what it starts, and a splice at the end.
        let both = [[1.0, 1.02], [2.0, 2.06], music, [32.0, 32.02]];
        assert_eq!(reach(40.0, &both), (4.0, 30.0, 3));
        // A switch that bounces.
        let bounces = [[1.66, 1.68], [1.98, 2.0], music];
        assert_eq!(reach(40.0, &bounces), (4.0, 30.0, 1));
        // However long the piece rests.
        let rests = [[1.98, 2.0], [4.0, 12.0], [16.0, 30.0]];
        assert_eq!(reach(40.0, &rests), (4.0, 30.0, 1));
    }

    #[test]
    fn short_sounds_of_the_passage_belong_to_it() {
        // A word, a note right before the rest, and the beats of a count-in.
        assert_eq!(reach(40.0, &[[2.0, 2.2], [4.0, 30.0]]), (2.0, 30.0, 0));
        assert_eq!(reach(40.0, &[[3.7, 3.72], [4.0, 30.0]]), (3.7, 30.0, 0));
        let mut counted: Vec<[f64; 2]> = (0..4)
            .map(|beat| 1.0 + 0.75 * f64::from(beat))
            .map(|at| [at, at + 0.04])
            .collect();
        counted.push([4.0, 30.0]);
        assert_eq!(reach(40.0, &counted), (1.0, 30.0, 0));
        // Nothing but beats.
        let beats: Vec<[f64; 2]> = (1..20)
            .map(|beat| [f64::from(beat), f64::from(beat) + 0.04])
            .collect();
        assert_eq!(reach(40.0, &beats), (1.0, 19.04, 0));
        assert_eq!(reach(40.0, &[]), (0.0, 0.02, 0));
    }
}
