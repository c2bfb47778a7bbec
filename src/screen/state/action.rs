//! What a key can mean.

use super::{EntryFor, Slot};

/// What a key can mean; the table of keys has a sentence for each.
#[allow(missing_docs)]
#[derive(Clone, Debug, PartialEq)]
pub enum Action {
    Help,
    Budget,
    Job,
    PageOn,
    PageBack,
    Uncover,
    Contact,
    WorkControl,
    Sweep,
    SweepByHand,
    MarkAnEighth,
    GoOn,
    GoBack,
    Pass,
    LongRun,
    Supply,
    NextRun,
    Card,
    NoTrimmer,
    MuteTicks,
    Quit,
    Interrupt,
    Suspend,
    Repaint,
    NextUnit,
    Edge,
    Choose,
    ChoiceUp,
    ChoiceDown,
    TakeChoice,
    NextTolerance,
    Lines,
    MarkNextLine,
    NameLine,
    NextPartsCard,
    Causes,
    Keep(Slot),
    Stop,
    RetrySaving,
    ChooseTone(usize),
    Type(EntryFor),
    Letter(char),
    Erase,
    EraseAll,
    Accept,
    Turn(f64),
    CleanStroke,
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
                | Self::Job
                | Self::Card
                | Self::Causes
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
