//! Which frames of a note are believed.

use std::collections::VecDeque;

/// Frames before and after one that cannot be believed go with it: windows
/// overlap.
const GUARD: usize = 6;

/// A frame is believed while its power is this far above the noise, and at
/// least this part of what it lately was: dropouts lie 12 dB down.
const ABOVE_NOISE: f64 = 10.0;
const LEAST_POWER: f64 = 1.0 / 16.0;

/// Voices beat: their nulls are deeper (tuned on one set of sampled
/// instruments, on A4).
const LEAST_POWER_BEATING: f64 = 0.01;

/// A note is begun when one partial is this many times better than that: what
/// fades into the noise is not found again and again.
const CLEAR: f64 = 4.0;

/// Lately.
pub const LATELY_S: f64 = 0.4;

/// A leap beyond this from frame to frame is no speed.
const LEAST_LEAP: f64 = 0.06;

/// A value of the speed track.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frame {
    /// Where it belongs, in samples since the input began.
    pub at: f64,
    /// Frequency of the first partial in hertz.
    pub hz: f64,
    /// Mean square of the note in the channel that has most of it.
    pub power: f64,
}

/// True when a note of this power, over this noise, may begin.
pub fn is_clear(power: f64, noise: f64) -> bool {
    power > CLEAR * ABOVE_NOISE * noise
}

/// See the module.
#[derive(Clone, Debug)]
pub struct Frames {
    hop_s: f64,
    least_power: f64,
    waiting: VecDeque<Frame>,
    ready: VecDeque<Frame>,
    doubtful: usize,
    lately: f64,
    last_good: Option<Frame>,
}

impl Frames {
    /// Every `hop_s`, of a note that begins with this power.
    pub fn new(hop_s: f64, power: f64) -> Self {
        Self {
            hop_s,
            least_power: LEAST_POWER,
            waiting: VecDeque::new(),
            ready: VecDeque::new(),
            doubtful: 0,
            lately: power,
            last_good: None,
        }
    }

    /// The note has voices that beat.
    pub fn beat(&mut self) {
        self.least_power = LEAST_POWER_BEATING;
    }

    /// True when a frame is believed, with the power and noise of the partials
    /// that it was made from.
    pub fn believes(&mut self, frame: &Frame, (power, noise): (f64, f64)) -> bool {
        let leaps = self
            .last_good
            .is_some_and(|last| (frame.hz / last.hz - 1.0).abs() > LEAST_LEAP);
        let good = frame.hz.is_finite()
            && power > ABOVE_NOISE * noise
            && power > self.least_power * self.lately
            && !leaps;
        if good {
            let part = if power > self.lately {
                0.2
            } else {
                (self.hop_s / LATELY_S).min(1.0)
            };
            self.lately += part * (power - self.lately);
        }
        good
    }

    /// A frame that is believed.
    pub fn good(&mut self, frame: Frame) {
        if self.doubtful > 0 {
            self.doubtful -= 1;
            return;
        }
        self.last_good = Some(frame);
        self.waiting.push_back(frame);
        if self.waiting.len() > GUARD {
            self.ready.extend(self.waiting.pop_front());
        }
    }

    /// One that is not.
    pub fn doubt(&mut self) {
        self.waiting.clear();
        self.doubtful = GUARD;
    }

    /// The newest that was believed.
    pub fn last_good(&self) -> Option<Frame> {
        self.last_good
    }

    /// Those that nothing can change any more, oldest first.
    pub fn take(&mut self) -> Option<Frame> {
        self.ready.pop_front()
    }
}
