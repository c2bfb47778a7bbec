//! The sample clock against the system's monotonic clock.

use std::io::{self, IsTerminal};

use super::{Measured, no_run};
use crate::audio::clock_run::{self, ClockRun};
use crate::audio::system_clock::Discipline;
use crate::commands::cli::ClockOptions;
use crate::commands::interrupt::Interrupt;
use crate::commands::progress::Progress;
use crate::commands::say::remark_lines;
use crate::commands::{Exit, Failure};
use crate::records::Against;
use crate::signal::arrivals::{ArrivalFit, Arrivals, Unfit};
use crate::units::Ppm;

/// How long to listen when nothing is said.
const USUAL_MINUTES: f64 = 5.0;

/// Between two looks at the figures so far.
const FIT_EVERY_S: f64 = 1.0;

pub(super) fn of_input(options: &ClockOptions) -> Result<Measured, Failure> {
    let length_s = 60.0 * options.minutes.unwrap_or(USUAL_MINUTES);
    if io::stderr().is_terminal() {
        remark_lines(&format!(
            "Listening for {:.0} minutes; Ctrl-C ends it early.\n",
            length_s / 60.0
        ));
    }
    let interrupt = Interrupt::listen();
    let mut progress = Progress::new(Some((length_s * 1000.0) as u64));
    let mut fitted_at_s = 0.0;
    let mut so_far = String::new();
    let run = clock_run::run(options.input.as_deref(), |arrivals| {
        let now_s = arrivals.length().0;
        if now_s >= fitted_at_s + FIT_EVERY_S {
            fitted_at_s = now_s;
            so_far = said_so_far(arrivals);
        }
        progress.saying((now_s * 1000.0) as u64, &so_far);
        now_s < length_s && !interrupt.came()
    });
    drop(progress);
    let run = run.map_err(|error| no_run(&error))?;
    let fit = run
        .arrivals
        .fit()
        .and_then(|fit| fit.within(Ppm(options.wanted)))
        .map_err(|unfit| refused(&unfit, interrupt.came()))?;
    Ok(measured(&run, fit, options.system_clock_uncertainty))
}

fn said_so_far(arrivals: &Arrivals) -> String {
    match arrivals.fit() {
        Ok(fit) => format!("{:+.1} ppm ±{:.1} so far", fit.error.0, fit.uncertainty.0),
        Err(Unfit::TooShort { .. }) => "nothing to say yet".to_owned(),
        Err(_) => "nothing that can be used so far".to_owned(),
    }
}

fn refused(unfit: &Unfit, interrupted: bool) -> Failure {
    let when = if interrupted { "ended early: " } else { "" };
    Failure::new(Exit::Sound, format!("{when}{unfit}"))
}

fn measured(run: &ClockRun, fit: ArrivalFit, said: Option<f64>) -> Measured {
    let discipline = run.discipline;
    let swing = run.steering.map_or(0.0, |steering| steering.swing.0);
    // How the steering swung shows how little the clock was settled.
    let system = said.unwrap_or_else(|| discipline.uncertainty().0.hypot(swing));
    let mut notes = vec![
        format!(
            "±{:.2} ppm the arrival of the samples ({:.2} ms late as a rule)",
            fit.uncertainty.0,
            fit.delay.0 * 1e3
        ),
        format!(
            "±{system:.2} ppm the system's own clock: {}",
            why(discipline, said)
        ),
    ];
    if let Some(steering) = run.steering {
        notes.push(format!(
            "the system steered its clock by {:+.3} ppm meanwhile, within {:.3} ppm",
            steering.mean.0, steering.swing.0
        ));
    }
    Measured {
        input: Some(run.input.clone()),
        rate_hz: run.format.rate_hz,
        error: fit.error,
        own: fit.uncertainty,
        against: Against::SystemClock {
            uncertainty: Ppm(system),
            disciplined: discipline == Discipline::Disciplined,
        },
        over: fit.over,
        notes,
    }
}

fn why(discipline: Discipline, said: Option<f64>) -> &'static str {
    match (said, discipline) {
        (Some(_), _) => "as said by --system-clock-uncertainty",
        (None, Discipline::Disciplined) => "it is disciplined by another clock (our own allowance)",
        (None, Discipline::Free) => "it is not disciplined (common practice for a crystal)",
        (None, Discipline::Unknown) => "it could not be asked (common practice for a crystal)",
    }
}
