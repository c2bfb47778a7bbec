//! Where the panels stand: what must stay comes first, the rest as the room
//! allows.

use ratatui_core::buffer::Buffer;
use ratatui_core::layout::Rect;

use super::font;
use super::panels::{
    bars, budget, card, causes, choosing, contact, digits, footer, health, help, job, lines,
    needle, news, say, strip, supply, title, trend, verdict, wiper,
};
use super::pen::{Pen, wrap};
use super::state::overlay::Overlay;
use super::state::routine::Step;
use super::state::view::View;
use super::state::{SMALLEST, ScreenState, is_too_small};

/// Names one panel of the rows.
type Panel = fn(&mut Rows) -> &mut u16;

/// Rows of each panel. Those of the first group stand where the size of the
/// window puts them; those of the second share what is left below.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Rows {
    digits: u16,
    needle: u16,
    /// Empty rows between the groups.
    air: u16,

    /// What to do, and what else is said.
    say: u16,
    /// Empty rows below it.
    spare: u16,
    /// Figures and signal in words.
    words: u16,
    levels: u16,
    bars: u16,
    trend: u16,
    /// The speeds and directions, above the strip.
    runs: u16,
}

impl Rows {
    /// Title, verdict, the strip of steps and keys are always there.
    const FIXED: u16 = 4;

    /// Rows for what stands below before the needle grows, anything is set
    /// apart, or the digits grow.
    const BEFORE_NEEDLE: u16 = 4;
    const BEFORE_AIR: u16 = 8;
    const BEFORE_DIGITS: u16 = 13;
    const BEFORE_CAPTION: u16 = 17;

    fn plan(state: &ScreenState, (width, height): (u16, u16)) -> Self {
        let mut rows = Self::standing(state, (width, height));
        rows.share(state, (width, height));
        rows
    }

    /// What the eye comes back to does not move, whatever comes or goes and
    /// whichever step it is.
    fn standing(state: &ScreenState, (width, height): (u16, u16)) -> Self {
        let mut rows = Self {
            digits: digits::rows(width, font::HEIGHT),
            needle: 2,
            air: 0,
            // The first row says what to do.
            say: 1,
            spare: 0,
            words: 0,
            levels: 0,
            bars: 0,
            trend: 0,
            runs: strip::rows_of_runs(state),
        };
        let left = |rows: &Self, rest| height.saturating_sub(rows.used() + rest);
        rows.needle += left(&rows, Self::BEFORE_NEEDLE).min(1);
        rows.digits = digits::rows(width, rows.digits + left(&rows, Self::BEFORE_DIGITS));
        rows.air = left(&rows, Self::BEFORE_AIR).min(3);
        rows.needle += left(&rows, Self::BEFORE_CAPTION).min(3);
        rows
    }

    /// Below, in the order of what is missed most.
    fn share(&mut self, state: &ScreenState, (width, height): (u16, u16)) {
        let mut left = height.saturating_sub(self.used());
        let (needed, filled) = say::rows(state, width);
        let step = state.routine.at();
        let bars = bars::rows(width);
        let is_roomy = left >= bars + Self::BEFORE_AIR;
        // Side by side is how before and after are compared.
        let compares = step == Step::After && !state.kept.is_empty();
        let sets_level = step <= Step::Signal;
        // Each with the fewest rows that are of any use.
        let wishes: [(Panel, u16, u16); 10] = [
            (|it| &mut it.say, needed, 1),
            (|it| &mut it.levels, u16::from(sets_level), 1),
            (|it| &mut it.bars, if compares { bars } else { 0 }, bars),
            (|it| &mut it.words, 1, 1),
            (|it| &mut it.bars, if is_roomy { bars } else { 0 }, bars),
            (|it| &mut it.levels, u16::from(is_roomy), 1),
            (|it| &mut it.say, filled, 1),
            (|it| &mut it.words, health::MOST_ROWS, 1),
            (|it| &mut it.spare, 1, 1),
            (|it| &mut it.trend, trend::MOST_ROWS, 2),
        ];
        for (panel, wish, least) in wishes {
            let now = *panel(self);
            let more = wish.saturating_sub(now).min(left);
            if now + more >= least {
                *panel(self) = now + more;
                left -= more;
            }
        }
        self.spare += left;
    }

    fn used(&self) -> u16 {
        Self::FIXED
            + self.digits
            + self.needle
            + self.air
            + self.say
            + self.spare
            + self.words
            + self.levels
            + self.bars
            + self.trend
            + self.runs
    }
}

/// Hands out areas from top to bottom.
struct Column<'a> {
    buffer: &'a mut Buffer,
    area: Rect,
    air: u16,
}

impl Column<'_> {
    fn next(&mut self, rows: u16) -> Pen<'_> {
        let area = Rect {
            height: rows.min(self.area.height),
            ..self.area
        };
        self.area.y += area.height;
        self.area.height -= area.height;
        Pen::new(self.buffer, area)
    }

    /// An empty row, while there are any.
    fn breathe(&mut self) {
        if self.air > 0 && self.area.height > 0 {
            self.air -= 1;
            self.area.y += 1;
            self.area.height -= 1;
        }
    }
}

/// Draws everything.
pub fn draw(state: &ScreenState, buffer: &mut Buffer) {
    let area = buffer.area;
    if is_too_small((area.width, area.height)) {
        draw_too_small(state, buffer);
    } else {
        let pen = |buffer| Pen::new(buffer, area);
        match state.overlay {
            Some(Overlay::Help(page)) => help::draw(state, page, &mut pen(buffer)),
            Some(Overlay::Budget) => budget::draw(state, &mut pen(buffer)),
            Some(Overlay::Card(page)) => card::draw(state, page, &mut pen(buffer)),
            Some(Overlay::Causes(page)) => causes::draw(state, page, &mut pen(buffer)),
            Some(Overlay::References(at)) => choosing::draw(state, at, &mut pen(buffer)),
            Some(Overlay::Job(at)) => job::draw(state, at, &mut pen(buffer)),
            Some(Overlay::Entry(_)) | None if state.view == View::Bench => {
                draw_panels(state, buffer);
            }
            Some(Overlay::Entry(_)) | None => draw_view(state, buffer),
        }
    }
    state.look.make_plain(buffer);
}

fn draw_panels(state: &ScreenState, buffer: &mut Buffer) {
    let area = buffer.area;
    let rows = Rows::plan(state, (area.width, area.height));
    let mut column = Column {
        buffer,
        area,
        air: rows.air,
    };
    title::draw(state, &mut column.next(1));
    column.breathe();
    digits::draw(state, &mut column.next(rows.digits));
    column.breathe();
    verdict::draw(state, &mut column.next(1));
    needle::draw(state, &mut column.next(rows.needle));
    column.breathe();
    say::draw(state, &mut column.next(rows.say));
    column.next(rows.spare);
    health::draw_words(state, &mut column.next(rows.words), rows.bars > 0);
    health::draw_levels(state, &mut column.next(rows.levels));
    bars::draw(state, &mut column.next(rows.bars));
    trend::draw(state, &mut column.next(rows.trend));
    strip::draw_runs(state, &mut column.next(rows.runs));
    strip::draw(state, &mut column.next(1));
    footer::draw(state, &mut column.next(1));
}

/// A view other than the bench: the speed stays in sight above it, and it
/// takes whatever the rest leaves.
fn draw_view(state: &ScreenState, buffer: &mut Buffer) {
    let area = buffer.area;
    let mut column = Column {
        buffer,
        area,
        air: 0,
    };
    title::draw(state, &mut column.next(1));
    let spare = area.height.saturating_sub(SMALLEST.1);
    digits::draw(
        state,
        &mut column.next(digits::rows(area.width, 1 + spare / 3)),
    );
    let news = news::rows(state, area.width).min(3);
    let room = column.area.height.saturating_sub(news + 2);
    match state.view {
        View::Bench => {}
        View::Wiper => wiper::draw(state, &mut column.next(room)),
        View::Contact => contact::draw(state, &mut column.next(room)),
        View::Supply => supply::draw(state, &mut column.next(room)),
        View::Lines => lines::draw(state, &mut column.next(room)),
    }
    news::draw(state, &mut column.next(news));
    strip::draw(state, &mut column.next(1));
    footer::draw(state, &mut column.next(1));
}

fn draw_too_small(state: &ScreenState, buffer: &mut Buffer) {
    let area = buffer.area;
    let text = format!(
        "This window is {} by {} characters; tapewright needs {} by {}. Make it larger, or the \
         letters smaller. q quits.",
        area.width, area.height, SMALLEST.0, SMALLEST.1
    );
    // What has to be said before it is left is said here too.
    let lost = state.message.as_deref().filter(|_| state.leaving);
    let text = lost.map_or(text, str::to_owned);
    let mut pen = Pen::new(buffer, area);
    for (y, line) in (0u16..).zip(wrap(&text, area.width)) {
        pen.text(0, y, &line, state.look.strong());
    }
}
