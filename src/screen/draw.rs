//! Where the panels stand: what must stay comes first, the rest as the room
//! allows.

use ratatui_core::buffer::Buffer;
use ratatui_core::layout::Rect;

use super::font;
use super::panels::{
    bars, budget, card, choosing, contact, digits, footer, health, help, needle, news, strip,
    title, trend, trouble, verdict, wiper,
};
use super::pen::{Pen, wrap};
use super::state::overlay::Overlay;
use super::state::view::View;
use super::state::{SMALLEST, ScreenState};

/// Names one panel of the rows.
type Panel = fn(&mut Rows) -> &mut u16;

/// Rows of each panel. Those of the first group stand where the size of the
/// window puts them; those of the second share what is left below.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Rows {
    digits: u16,
    needle: u16,
    bars: u16,
    health: u16,
    /// Empty rows between the groups.
    air: u16,

    trend: u16,
    trouble: u16,
    news: u16,
    /// The speeds and directions, above the strip.
    runs: u16,
    /// The words of the present step, below the strip.
    words: u16,
}

impl Rows {
    /// Title, verdict, the row of guidance, the strip of steps and keys are
    /// always there.
    const FIXED: u16 = 5;

    /// Rows for what comes and goes before the digits grow, and before anything
    /// else does.
    const BEFORE_DIGITS: u16 = 12;
    const BEFORE_ANYTHING: u16 = 16;

    fn plan(state: &ScreenState, (width, height): (u16, u16)) -> Self {
        let mut rows = Self::standing(state, (width, height));
        rows.share(state, (width, height));
        rows
    }

    /// What the eye comes back to does not move when something comes or goes.
    fn standing(state: &ScreenState, (width, height): (u16, u16)) -> Self {
        let mut rows = Self {
            digits: digits::rows(width, font::HEIGHT),
            needle: 2,
            bars: 0,
            health: 0,
            air: 0,
            trend: 0,
            trouble: 0,
            news: 0,
            runs: strip::rows_of_runs(state),
            words: 0,
        };
        let bars = bars::rows(state, width);
        // In the order of what is missed most, each with the rows that it
        // leaves to what comes and goes.
        let wishes: [(Panel, u16, u16); 7] = [
            (|it| &mut it.health, 1, 1),
            (|it| &mut it.bars, 1, 1),
            (|it| &mut it.health, health::ROWS, 2),
            (|it| &mut it.needle, 3, 3),
            (|it| &mut it.bars, bars.min(bars::ROWS), 3),
            (|it| &mut it.bars, bars, 3),
            (|it| &mut it.needle, needle::ROWS, 7),
        ];
        for (panel, wish, rest) in wishes {
            let more = wish.saturating_sub(*panel(&mut rows));
            if rows.used() + more + rest <= height {
                *panel(&mut rows) += more;
            }
        }
        let left = |rows: &Self, rest| height.saturating_sub(rows.used() + rest);
        rows.digits = digits::rows(width, rows.digits + left(&rows, Self::BEFORE_DIGITS));
        rows.air = left(&rows, Self::BEFORE_DIGITS).min(4);
        rows.needle += left(&rows, Self::BEFORE_ANYTHING).min(3);
        rows
    }

    /// Below, in the order of what is missed most.
    fn share(&mut self, state: &ScreenState, (width, height): (u16, u16)) {
        let trouble = trouble::rows(state, width).min(3);
        let urgent = news::urgent_rows(state, width);
        let mut left = height.saturating_sub(self.used());
        // What the digits say anyway makes room where there is next to none.
        if trouble + urgent > left && self.health == 1 {
            self.health = 0;
            left += 1;
        }
        let alone = if urgent == 0 { trouble } else { 0 };
        let wishes: [(Panel, u16); 15] = [
            (|it| &mut it.trouble, trouble.min(1)),
            (|it| &mut it.news, urgent.min(1)),
            (|it| &mut it.trouble, alone),
            (|it| &mut it.news, urgent.min(2)),
            (|it| &mut it.news, news::rows_of_question(state)),
            (|it| &mut it.words, strip::rows_needed(state, width)),
            (|it| &mut it.trouble, trouble),
            (|it| &mut it.news, urgent),
            (|it| &mut it.news, news::rows(state, width)),
            (|it| &mut it.words, strip::rows_wanted(state, width)),
            (|it| &mut it.trend, 1),
            (|it| &mut it.trend, 2),
            (|it| &mut it.words, strip::rows_of_words(state, width)),
            (|it| &mut it.trouble, 1),
            (|it| &mut it.trend, trend::MOST_ROWS),
        ];
        for (panel, wish) in wishes {
            let now = *panel(self);
            let more = wish.saturating_sub(now).min(left);
            *panel(self) = now + more;
            left -= more;
        }
    }

    fn used(&self) -> u16 {
        Self::FIXED
            + self.digits
            + self.needle
            + self.trend
            + self.bars
            + self.health
            + self.trouble
            + self.news
            + self.words
            + self.runs
            + self.air
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
    if area.width < SMALLEST.0 || area.height < SMALLEST.1 {
        draw_too_small(state, buffer);
    } else {
        let pen = |buffer| Pen::new(buffer, area);
        match state.overlay {
            Some(Overlay::Help(page)) => help::draw(state, page, &mut pen(buffer)),
            Some(Overlay::Budget) => budget::draw(state, &mut pen(buffer)),
            Some(Overlay::Card(page)) => card::draw(state, page, &mut pen(buffer)),
            Some(Overlay::References(at)) => choosing::draw(state, at, &mut pen(buffer)),
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
    if rows.bars == 0 && state.guided().is_none() {
        bars::draw(state, &mut column.next(1));
    } else {
        verdict::draw_below(state, &mut column.next(1));
    }
    column.breathe();
    needle::draw(state, &mut column.next(rows.needle));
    column.breathe();
    bars::draw(state, &mut column.next(rows.bars));
    health::draw(state, &mut column.next(rows.health));
    trend::draw(state, &mut column.next(rows.trend));
    trouble::draw(state, &mut column.next(rows.trouble));
    news::draw(state, &mut column.next(rows.news));
    let spare = column
        .area
        .height
        .saturating_sub(2 + rows.words + rows.runs);
    column.next(spare);
    strip::draw_runs(state, &mut column.next(rows.runs));
    strip::draw(state, &mut column.next(1));
    strip::draw_words(state, &mut column.next(rows.words));
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
    let news = news::urgent_rows(state, area.width).min(3);
    let room = column.area.height.saturating_sub(news + 2);
    match state.view {
        View::Bench => {}
        View::Wiper => wiper::draw(state, &mut column.next(room)),
        View::Contact => contact::draw(state, &mut column.next(room)),
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
