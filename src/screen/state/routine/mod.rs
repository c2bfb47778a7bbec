//! The way through a whole job at a machine, as a strip of steps. It never
//! holds anybody up: every key works at every step, and the strip follows what
//! has been done.
//!
//! Here is what the strip knows; [`cards`] says what to do at a step, [`now`]
//! what the program sees there, and [`deeds`] carries the keys out and follows
//! the machine.

pub(in crate::screen) mod cards;
mod deeds;
pub(in crate::screen) mod now;

pub(in crate::screen) use deeds::{KeepWatch, RunUp};

/// A step of the job, in the order of the work.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Step {
    /// The machine's output into this computer.
    Connect,
    /// A tone that can be read.
    Signal,
    /// Until the drift is small.
    WarmUp,
    /// A snapshot before the work.
    Before,
    /// The trimmer, power off.
    Clean,
    /// The trimmer's wiper, by the speed.
    Wiper,
    /// Turning it until the speed is right.
    Trim,
    /// Without the tool it must stay.
    HandsOff,
    /// Start, middle and end of the tape.
    Along,
    /// A snapshot after the work.
    After,
}

impl Step {
    /// All, in order.
    pub const ALL: [Self; 10] = [
        Self::Connect,
        Self::Signal,
        Self::WarmUp,
        Self::Before,
        Self::Clean,
        Self::Wiper,
        Self::Trim,
        Self::HandsOff,
        Self::Along,
        Self::After,
    ];

    /// As it stands on the strip.
    pub fn name(self) -> &'static str {
        match self {
            Self::Connect => "connect",
            Self::Signal => "signal",
            Self::WarmUp => "warm up",
            Self::Before => "before",
            Self::Clean => "clean",
            Self::Wiper => "wiper",
            Self::Trim => "trim",
            Self::HandsOff => "hands off",
            Self::Along => "ends",
            Self::After => "after",
        }
    }

    /// Its number on the strip, from 1.
    pub fn number(self) -> usize {
        self as usize + 1
    }

    /// Only where there is a trimmer to turn.
    pub(in crate::screen) fn needs_trimmer(self) -> bool {
        matches!(self, Self::Wiper | Self::Trim | Self::HandsOff)
    }
}

/// How a step stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Mark {
    /// Not done, or not seen to be done.
    #[default]
    Open,
    /// Done.
    Done,
    /// There is nothing to do at this machine.
    LeftOut,
}

/// Where the job stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Routine {
    at: Step,
    marks: [Mark; Step::ALL.len()],
    no_trimmer: bool,
    /// The key that goes on was pressed while something was under way: the
    /// next time it goes on all the same.
    pressed: bool,
    /// Strokes of cleaning at which the simulated trimmer counts as cleaned.
    strokes_wanted: u32,
    /// The hand is to be taken away, and the reading is to hold.
    letting_go: bool,
}

impl Default for Routine {
    fn default() -> Self {
        Self {
            at: Step::Connect,
            marks: [Mark::default(); Step::ALL.len()],
            no_trimmer: false,
            pressed: false,
            strokes_wanted: deeds::CLEAN_STROKES,
            letting_go: false,
        }
    }
}

impl Routine {
    /// The step that is shown.
    pub fn at(&self) -> Step {
        self.at
    }

    /// How a step stands.
    pub fn mark(&self, step: Step) -> Mark {
        if self.no_trimmer && step.needs_trimmer() {
            return Mark::LeftOut;
        }
        self.marks[step as usize]
    }

    /// The machine has no trimmer, somebody said.
    pub fn has_no_trimmer(&self) -> bool {
        self.no_trimmer
    }

    /// The step is ticked off.
    pub fn is_done(&self, step: Step) -> bool {
        self.mark(step) == Mark::Done
    }

    pub(in crate::screen) fn leave_trimmer_out(&mut self) {
        self.no_trimmer = true;
    }

    pub(in crate::screen) fn tick(&mut self, step: Step) {
        self.marks[step as usize] = Mark::Done;
    }

    pub(in crate::screen) fn untick(&mut self, step: Step) {
        self.marks[step as usize] = Mark::Open;
    }

    pub(in crate::screen) fn go_to(&mut self, step: Step) {
        self.at = step;
        self.pressed = false;
    }

    /// The next step that is still to be done, or simply the next where none
    /// is; `None` at the end.
    fn after(&self, step: Step) -> Option<Step> {
        let later = || Step::ALL.into_iter().filter(move |it| *it > step);
        later()
            .find(|it| self.mark(*it) == Mark::Open)
            .or_else(|| later().find(|it| self.mark(*it) != Mark::LeftOut))
    }

    fn before(&self, step: Step) -> Option<Step> {
        let mut earlier = Step::ALL.into_iter().rev().filter(|it| *it < step);
        earlier.find(|it| self.mark(*it) != Mark::LeftOut)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readings::Holding;
    use crate::screen::specimen;
    use crate::screen::state::SourceKind;
    use crate::units::Seconds;

    #[test]
    fn going_on_leads_to_what_is_still_to_be_done() {
        let mut routine = Routine::default();
        routine.tick(Step::Connect);
        routine.tick(Step::Signal);
        assert_eq!(routine.after(Step::Connect), Some(Step::WarmUp));
        routine.no_trimmer = true;
        assert_eq!(routine.after(Step::Clean), Some(Step::Along));
        assert_eq!(routine.before(Step::Along), Some(Step::Clean));
        assert_eq!(routine.after(Step::After), None);
        assert_eq!(routine.before(Step::Connect), None);
    }

    #[test]
    fn a_comparison_that_is_lost_at_hands_off_leads_back_to_trim() {
        let mut state = specimen::state(SourceKind::Input);
        state.routine.go_to(Step::HandsOff);
        state.routine.letting_go = true;
        let averaging = Holding::Averaging {
            have: Seconds(1.0),
            want: Seconds(5.0),
        };
        let told = [None, Some(averaging), None];
        for (number, holding) in (1..).zip(told) {
            assert_eq!(state.routine.at(), Step::HandsOff, "before {number}");
            let mut reading = specimen::reading(0.1);
            reading.holding = holding;
            let _ = state.take(specimen::live(number, reading));
        }
        assert_eq!(state.routine.at(), Step::Trim);
        assert!(state.message.is_some_and(|it| it.contains("back to trim")));
    }

    #[test]
    fn steps_stand_in_the_order_of_the_work() {
        for pair in Step::ALL.windows(2) {
            assert!(pair[0] < pair[1]);
            assert_eq!(pair[0].number() + 1, pair[1].number());
        }
    }
}
