//! Where the panels stand: what must stay comes first, the rest as the room
//! allows.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

use super::panels::{
    bars, budget, card, digits, footer, health, help, needle, news, strip, title, trend, trouble,
    verdict, wiper,
};
use super::panels::{choosing, contact};
use super::pen::{Pen, wrap};
use super::state::ScreenState;
use super::view::View;

/// Columns and rows below which nothing useful can be shown.
pub const SMALLEST: (u16, u16) = (50, 14);

/// Names one panel of the rows.
type Panel = fn(&mut Rows) -> &mut u16;

/// Rows of each panel, from top to bottom.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Rows {
    digits: u16,
    units: u16,
    needle: u16,
    trend: u16,
    bars: u16,
    health: u16,
    trouble: u16,
    news: u16,
    /// The words of the present step, below the strip.
    words: u16,
    /// The speeds and directions, above the strip.
    runs: u16,
    /// Empty rows between the groups.
    air: u16,
}

impl Rows {
    /// Title, verdict, the strip of steps and keys are always there.
    const FIXED: u16 = 4;

    fn plan(state: &ScreenState, (width, height): (u16, u16)) -> Self {
        let mut rows = Self {
            digits: digits::rows(width, 5),
            units: 0,
            needle: 2,
            trend: 0,
            bars: 0,
            health: 1,
            trouble: trouble::rows(state, width).min(3),
            news: news::urgent_rows(state, width),
            words: 0,
            runs: 0,
            air: 0,
        };
        rows.give_way(height);
        let mut left = height.saturating_sub(rows.used());
        // In the order of what is missed most. What comes and goes (troubles,
        // news) takes its rows from the trend, so that the needle stays where
        // the eye expects it.
        let words = strip::rows_of_words(state, width);
        let wishes: [(Panel, u16); 18] = [
            (|it| &mut it.words, strip::rows_of_guidance(state, width)),
            (|it| &mut it.bars, 1),
            (|it| &mut it.runs, strip::rows_of_runs(state)),
            (|it| &mut it.health, health::ROWS),
            (|it| &mut it.bars, bars::ROWS),
            (|it| &mut it.needle, 3),
            (|it| &mut it.units, 1),
            (|it| &mut it.words, strip::rows_needed(state, width)),
            (|it| &mut it.words, strip::rows_wanted(state, width)),
            (|it| &mut it.needle, needle::ROWS),
            (|it| &mut it.news, news::rows(state, width)),
            (|it| &mut it.trend, 1),
            (|it| &mut it.words, words),
            (|it| &mut it.trend, 2),
            (|it| &mut it.trouble, 1),
            (|it| &mut it.trend, trend::ROWS),
            (|it| &mut it.bars, bars::rows(state)),
            (|it| &mut it.air, 1),
        ];
        for (panel, wish) in wishes {
            let now = *panel(&mut rows);
            let more = wish.saturating_sub(now);
            if more <= left {
                *panel(&mut rows) = now + more;
                left -= more;
            }
        }
        rows.grow(width, left);
        rows
    }

    /// Where not even what must stay has room, what comes and goes is cut
    /// first: the trouble to its first row, then what the digits say anyway,
    /// and the size of the digits last.
    fn give_way(&mut self, height: u16) {
        let over = self.used().saturating_sub(height);
        self.trouble -= over.min(self.trouble.saturating_sub(1));
        let over = self.used().saturating_sub(height);
        self.health -= over.min(self.health);
        if self.used() > height {
            self.digits = 1;
        }
        let over = self.used().saturating_sub(height);
        self.news -= over.min(self.news);
    }

    /// Whatever is left goes into the digits, then the trend and some air.
    fn grow(&mut self, width: u16, mut left: u16) {
        let larger = digits::rows(width, self.digits + left);
        left -= larger - self.digits;
        self.digits = larger;
        let air = left.min(4);
        self.air += air;
        left -= air;
        let trend = left.min(8);
        self.trend += trend;
        left -= trend;
        let needle = left.min(3);
        self.needle += needle;
    }

    fn used(&self) -> u16 {
        Self::FIXED
            + self.digits
            + self.units
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
    } else if let Some(page) = state.help {
        help::draw(state, page, &mut Pen::new(buffer, area));
    } else if state.budget {
        budget::draw(state, &mut Pen::new(buffer, area));
    } else if let Some(page) = state.card {
        card::draw(state, page, &mut Pen::new(buffer, area));
    } else if let Some(at) = state.choosing {
        choosing::draw(state, at, &mut Pen::new(buffer, area));
    } else if state.view == View::Bench {
        draw_panels(state, buffer);
    } else {
        draw_view(state, buffer);
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
    verdict::draw_units(state, &mut column.next(rows.units));
    column.breathe();
    needle::draw(state, &mut column.next(rows.needle));
    column.breathe();
    trend::draw(state, &mut column.next(rows.trend));
    bars::draw(state, &mut column.next(rows.bars));
    column.breathe();
    health::draw(state, &mut column.next(rows.health));
    trouble::draw(state, &mut column.next(rows.trouble));
    news::draw(state, &mut column.next(rows.news));
    let spare = column
        .area
        .height
        .saturating_sub(2 + rows.words + rows.runs);
    column.next(spare);
    strip::draw_runs(state, &mut column.next(rows.runs));
    strip::draw(state, rows.words, &mut column.next(1));
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
    strip::draw(state, 0, &mut column.next(1));
    footer::draw(state, &mut column.next(1));
}

fn draw_too_small(state: &ScreenState, buffer: &mut Buffer) {
    let area = buffer.area;
    let text = format!(
        "This window is {} by {} characters; tapewright needs {} by {}. Make it larger, or the \
         letters smaller. q quits.",
        area.width, area.height, SMALLEST.0, SMALLEST.1
    );
    let mut pen = Pen::new(buffer, area);
    for (y, line) in (0u16..).zip(wrap(&text, area.width)) {
        pen.text(0, y, &line, state.look.strong());
    }
}
