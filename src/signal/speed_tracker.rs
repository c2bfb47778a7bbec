//! What finds a reference in the samples, follows it and says when it is lost:
//! a tone by itself, a note by all of its partials, a recording by its copy.

use super::following::{ChannelQuality, MOST_CHANNELS, Track};
use super::piece::Witness;

/// See the module. What is left as it is here follows nothing.
pub trait SpeedTracker: Send {
    /// Takes the first tick of every channel; what follows from it is added to
    /// `out`. What stands behind it in the input is what the next calls will
    /// bring; it may be worked on ahead, and changes nothing before its time.
    fn tick(&mut self, _input: &[&[f32]], _out: &mut Vec<Track>) {}

    /// The input broke: nothing before this moment goes with what comes.
    fn gap(&mut self) {}

    /// True while the reference is followed.
    fn is_following(&self) -> bool {
        false
    }

    /// Quality of each channel; zero while searching.
    fn quality(&self) -> [ChannelQuality; MOST_CHANNELS] {
        [ChannelQuality::default(); MOST_CHANNELS]
    }

    /// What speaks for and against what is followed, or was last.
    fn witness(&self) -> Option<&dyn Witness> {
        None
    }

    /// Only what lies within one of these ranges is followed, in hertz.
    fn set_ranges(&mut self, _ranges_hz: Vec<[f64; 2]>) {}

    /// Frequency of something steady that is not what is wanted, seen while
    /// searching, in hertz.
    fn unwanted_hz(&self) -> Option<f64> {
        None
    }

    /// Wow and flutter are shown in full up to here, in hertz; `None` while
    /// searching.
    fn band_hz(&self) -> Option<f64> {
        None
    }

    /// From a sample going in to its value coming out, where values are as late
    /// as filters.
    fn delay_ticks(&self) -> u64 {
        0
    }

    /// Nobody waits: what does not change is looked at less often.
    fn be_patient(&mut self) {}
}
