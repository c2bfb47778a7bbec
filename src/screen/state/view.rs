//! What the middle of the screen is for at the moment.

/// A view takes the place of the trend and the bars; whatever else is kept or
/// measured goes on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum View {
    /// Digits, needle, trend and bars: where trimming is done.
    #[default]
    Bench,
    /// The check of the trimmer's wiper: speed against its travel.
    Wiper,
    /// The check of a volume control or a switch.
    Contact,
    /// The run through supply voltages.
    Supply,
    /// The lines in the flutter and what makes them.
    Lines,
}
