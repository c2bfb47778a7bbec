//! The run through supply voltages: what to do, what was measured at each, the
//! verdict, and the cautions, which stay.

use crate::report::numbers::with_uncertainty;
use crate::report::supply::{advice, headline};
use crate::screen::pen::{Pen, width, wrap};
use crate::screen::state::supply::AtVoltage;
use crate::screen::state::{ScreenState, SourceKind};

const CAUTION: &str = "Never more volts than the machine is made for; mind the polarity before \
    it is connected, cells out. A bench supply hangs on the mains: never open it. Never charge \
    primary cells, never short a pack.";
const CAUTION_IN_SHORT: &str = "Rated volts at most, mind polarity, cells out; never open a bench \
    supply.";

/// Rows from which the cautions stand in full.
const ROOMY: u16 = 11;

/// Draws the whole view.
pub(in crate::screen) fn draw(state: &ScreenState, pen: &mut Pen) {
    let look = state.look;
    let caution = if pen.height() >= ROOMY {
        CAUTION
    } else {
        CAUTION_IN_SHORT
    };
    let caution = wrap(caution, pen.width());
    let bottom = pen.height().saturating_sub(caution.len() as u16);
    for (y, line) in (bottom..).zip(&caution) {
        pen.text(0, y, line, look.alarm());
    }
    let points: Vec<&AtVoltage> = state.supply_points().collect();
    let head = match points.len() {
        0 => "supply run: speed against supply voltage".to_owned(),
        1 => "supply run: 1 voltage so far".to_owned(),
        many => format!("supply run: {many} voltages"),
    };
    let judged = state.supply_judged();
    let mut rows = vec![(head, look.strong())];
    rows.push((what_to_do(state, points.len()), look.accent()));
    rows.extend(judged.map(|it| (headline(&it), look.strong())));
    rows.extend(points.into_iter().map(|it| (row_of(it), look.strong())));
    rows.extend(judged.map(|it| (advice(&it).to_owned(), look.faint())));
    let mut y = 0;
    for (text, style) in rows {
        // As it is where it fits, for the sake of the columns.
        let lines = if width(&text) <= pen.width() {
            vec![text]
        } else {
            wrap(&text, pen.width())
        };
        // Half a sentence may say the opposite.
        if y + lines.len() as u16 <= bottom {
            for line in lines {
                pen.text(0, y, &line, style);
                y += 1;
            }
        }
    }
}

fn what_to_do(state: &ScreenState, measured: usize) -> String {
    let rehearsing = state.kind == SourceKind::Rehearsal;
    match (state.voltage_asked(), measured) {
        _ if state.keeping.is_some() => "Touch nothing while it is measured.".to_owned(),
        (Some(volts), _) if rehearsing => {
            format!("The simulated supply goes to {volts} V; Space measures.")
        }
        (Some(volts), _) => format!("Set the supply to {volts} V; Space measures."),
        (None, 0) if rehearsing => "Space, then type a voltage: the simulated machine is made \
            for 6 V."
            .to_owned(),
        (None, 0) => "Space, then type the highest voltage it is made for.".to_owned(),
        (None, 1) => {
            "Space: the next voltage, lower, yet enough to run. Touch nothing else.".to_owned()
        }
        (None, _) => {
            "Space: one more voltage. Stop and start it to time the start. Esc ends.".to_owned()
        }
    }
}

fn row_of(point: &AtVoltage) -> String {
    let speed = point.measurement.speed.map_or_else(
        || "no speed".to_owned(),
        |speed| {
            let known = speed.uncertainty.map(|it| it.0);
            format!("{} %", with_uncertainty(speed.deviation.0, known, true))
        },
    );
    let flutter = point.measurement.flutter.weighted_two_sigma;
    let flutter = flutter.map_or_else(String::new, |it| format!("  flutter {:.2} %", it.0));
    let start = point
        .starts_in
        .map_or_else(String::new, |it| format!("  starts {:.1} s", it.0));
    format!("{:>5} V  {speed}{flutter}{start}", point.volts)
}
