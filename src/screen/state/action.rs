//! What a key can mean.

use super::{EntryFor, Slot};

/// What a key can mean.
#[derive(Clone, Debug, PartialEq)]
pub enum Action {
    /// Open the help.
    Help,
    /// Show what the ± is made of.
    Budget,
    /// The next page of what lies over the screen; the last one closes.
    PageOn,
    /// The page before.
    PageBack,
    /// Take away what lies over the screen.
    Uncover,
    /// Begin a check of contacts, or end it.
    Contact,
    /// Let the simulated hand work the volume control.
    WorkControl,
    /// Begin a check of the wiper, or end it and judge it.
    Sweep,
    /// Begin one and let the hand of the rehearsal turn the trimmer.
    SweepByHand,
    /// An eighth of a turn clockwise comes now.
    MarkAnEighth,
    /// Go on: do what belongs to the present step, or take the next.
    GoOn,
    /// One step back.
    GoBack,
    /// The next step, without doing what belongs to this one.
    Pass,
    /// Begin a run through the whole tape, or end it.
    LongRun,
    /// The next speed or direction.
    NextRun,
    /// Show all about the present step.
    Card,
    /// The machine has no trimmer, or has one after all.
    NoTrimmer,
    /// Silence the ticks, or the copy, or let them sound again.
    MuteTicks,
    /// Leave.
    Quit,
    /// Leave as an interrupt does.
    Interrupt,
    /// Hand the terminal back for a while.
    Suspend,
    /// Draw everything anew.
    Repaint,
    /// Let the next unit lead.
    NextUnit,
    /// A passage begins or ends now.
    Edge,
    /// Open the list of references.
    Choose,
    /// The line above.
    ChoiceUp,
    /// The line below.
    ChoiceDown,
    /// Take the line that is marked.
    TakeChoice,
    /// Take the next tolerance class.
    NextTolerance,
    /// Keep a snapshot.
    Keep(Slot),
    /// Stop what is under way, or go back to the bench.
    Stop,
    /// Save what could not be saved.
    RetrySaving,
    /// Choose the tone of this number.
    ChooseTone(usize),
    /// Begin to type a line.
    Type(EntryFor),
    /// A letter of the line.
    Letter(char),
    /// Take the last letter back.
    Erase,
    /// Take the whole line back.
    EraseAll,
    /// The line is done.
    Accept,
    /// Turn the trimmer of the simulated machine by a share of its travel.
    Turn(f64),
    /// Work its wiper once to both ends and back.
    CleanStroke,
    /// Its power on or off.
    Power,
}

impl Action {
    /// It acts on what lies over the screen or on the terminal alone; whatever
    /// was said and asked before still stands.
    pub(super) fn leaves_the_bench_alone(&self) -> bool {
        matches!(
            self,
            Self::Help
                | Self::Budget
                | Self::Card
                | Self::Choose
                | Self::Type(_)
                | Self::PageOn
                | Self::PageBack
                | Self::Uncover
                | Self::ChoiceUp
                | Self::ChoiceDown
                | Self::Letter(_)
                | Self::Erase
                | Self::EraseAll
                | Self::Repaint
                | Self::Suspend
                | Self::Interrupt
        )
    }
}
