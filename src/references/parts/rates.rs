//! How often each part of a card turns at nominal speed.

use std::f64::consts::PI;

use super::part::{Part, RATES, ReelSide};
use crate::readings::Position;
use crate::references::card_text::{CardTextError, checked_between};

/// Where on the tape a place lies, in parts of its length; people look near
/// the ends, not at them. A choice.
const START: [f64; 2] = [0.0, 0.15];
const MIDDLE: [f64; 2] = [0.4, 0.6];
const END: [f64; 2] = [0.85, 1.0];

/// How often a part turns.
#[derive(Clone, Debug, PartialEq)]
pub struct PartRate {
    /// Lowest and highest turns a second; the same twice but for a reel, whose
    /// pack is not known.
    pub turns: [f64; 2],
    /// 95 % beside that, in percent.
    pub tolerance_percent: f64,
    /// Of a reel, how its rate moves.
    pub pack: Option<Pack>,
}

/// A reel whose pack grows or shrinks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pack {
    /// Which one.
    pub side: ReelSide,
    /// Thickness of the tape, mm.
    tape_mm: f64,
    /// Speed of the tape, mm/s.
    speed_mm_s: f64,
}

impl Pack {
    /// How its rate moves when it turns this often, percent a minute: with
    /// d² = d₀² + 4 t L/π and f = v/(π d), df/dt ÷ f = ∓2 π t f²/v. Take-up
    /// slows.
    pub fn percent_per_minute(&self, turns: f64) -> f64 {
        let magnitude = 6000.0 * 2.0 * PI * self.tape_mm * turns * turns / self.speed_mm_s;
        match self.side {
            ReelSide::TakeUp => -magnitude,
            ReelSide::Supply => magnitude,
        }
    }
}

/// The parts of one machine.
#[derive(Clone, Copy)]
struct Machine<'a> {
    parts: &'a [Part],
    speed_cm_s: Option<f64>,
    place: Option<Position>,
}

/// All rates of a machine, or what keeps one from being reckoned.
pub(super) fn of(
    parts: &[Part],
    speed_cm_s: Option<f64>,
    place: Option<Position>,
) -> Result<Vec<PartRate>, CardTextError> {
    let machine = Machine {
        parts,
        speed_cm_s,
        place,
    };
    let rate = |part| {
        let rate = of_part(machine, part, &mut Vec::new())?;
        // Lengths and ratios that can be may come to what cannot; however slow, it
        // can.
        for turns in rate.turns {
            let key = format!("turns a second of \"{}\" by what drives it", part.name);
            checked_between(&key, turns, [0.0, RATES[1]])?;
        }
        Ok(rate)
    };
    parts.iter().map(rate).collect()
}

fn of_part<'a>(
    machine: Machine<'a>,
    part: &'a Part,
    on_the_way: &mut Vec<&'a str>,
) -> Result<PartRate, CardTextError> {
    let steady = |turns: f64| PartRate {
        turns: [turns; 2],
        tolerance_percent: part.tolerance_percent(),
        pack: None,
    };
    let speed_mm_s = || {
        let missing = || {
            let wanted = format!("\"{}\" runs on the tape, so write it at the top", part.name);
            CardTextError::impossible("speed_cm_s", "not said", wanted)
        };
        machine.speed_cm_s.map(|it| 10.0 * it).ok_or_else(missing)
    };
    if let Some(turns) = part.turns_per_second {
        return Ok(steady(turns));
    }
    if let Some(diameter) = part.diameter_mm {
        return Ok(steady(speed_mm_s()? / (PI * diameter)));
    }
    if let (Some(side), Some(hub), Some(tape_um), Some(length_m)) =
        (part.reel, part.hub_mm, part.tape_um, part.length_m)
    {
        let (speed_mm_s, tape_mm) = (speed_mm_s()?, tape_um / 1000.0);
        let diameter = |wound_m: f64| (hub * hub + 4.0 * tape_mm * 1000.0 * wound_m / PI).sqrt();
        let turns =
            wound(side, machine.place).map(|it| speed_mm_s / (PI * diameter(it * length_m)));
        return Ok(PartRate {
            turns,
            pack: Some(Pack {
                side,
                tape_mm,
                speed_mm_s,
            }),
            ..steady(0.0)
        });
    }
    let driver = driver(machine, part, on_the_way)?;
    let mut rate = of_part(machine, driver, on_the_way)?;
    let ratio = match (part.ratio, part.belt_mm, part.pulley_mm) {
        (Some(ratio), ..) => ratio,
        // A belt goes round as often as its length fits into what passes.
        (_, Some(belt), Some(pulley)) => PI * pulley / belt,
        _ => 1.0,
    };
    rate.turns = rate.turns.map(|turns| turns * ratio);
    // Slip and lengths of its own come to what the driver has already.
    rate.tolerance_percent = rate.tolerance_percent.hypot(part.tolerance_percent());
    rate.pack = None;
    Ok(rate)
}

/// The part that turns this one; a circle of them is refused with its names.
fn driver<'a>(
    machine: Machine<'a>,
    part: &'a Part,
    on_the_way: &mut Vec<&'a str>,
) -> Result<&'a Part, CardTextError> {
    let name = part.driven_by.as_deref().unwrap_or_default();
    let key = format!("driven_by of \"{}\"", part.name);
    let found = format!("\"{name}\"");
    on_the_way.push(&part.name);
    let Some(driver) = machine.parts.iter().find(|it| it.name == name) else {
        return Err(CardTextError::impossible(
            key,
            found,
            "no part of the card has that name",
        ));
    };
    if on_the_way.contains(&name) {
        let circle = on_the_way.join(" by ");
        return Err(CardTextError::impossible(
            key,
            found,
            format!("it runs in a circle: {circle} by {name}"),
        ));
    }
    Ok(driver)
}

/// The least and the most of the tape that is on this reel, in parts of all of
/// it; the most first, for that turns slowest.
fn wound(side: ReelSide, place: Option<Position>) -> [f64; 2] {
    let [from, to] = match place {
        None => [0.0, 1.0],
        Some(Position::Start) => START,
        Some(Position::Middle) => MIDDLE,
        Some(Position::End) => END,
    };
    match side {
        ReelSide::TakeUp => [to, from],
        ReelSide::Supply => [1.0 - from, 1.0 - to],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::references::parts::PartsCard;

    fn reel(speed_cm_s: f64, hub_mm: f64, tape_um: f64, length_m: f64) -> PartRate {
        let text = format!(
            "parts_card = 1\nname = \"a\"\nspeed_cm_s = {speed_cm_s}\n[[part]]\nname = \"reel\"\n\
             reel = \"take_up\"\nhub_mm = {hub_mm}\ntape_um = {tape_um}\nlength_m = {length_m}\n"
        );
        PartsCard::from_toml(&text).unwrap().rates(None).remove(0)
    }

    #[test]
    fn packs_fit_the_published_reels() {
        // Hubs 21 to 22 mm, a full C60 about 50 mm, 0.29 to 0.7 turns a second
        // at 4.76 cm/s (IEC 60094-7 for the speed; the rest common practice);
        // open reels under their flanges of 178 and 267 mm (from memory).
        for (speed, hub, tape, length, full_mm, near) in [
            (4.7625, 22.0, 18.0, 86.0, 50.0, 1.5),
            (4.7625, 22.0, 12.0, 129.0, 51.0, 2.0),
            (19.05, 57.0, 50.0, 366.0, 170.0, 8.0),
            (38.1, 114.0, 50.0, 762.0, 255.0, 12.0),
        ] {
            let [slow, fast] = reel(speed, hub, tape, length).turns;
            let full = 10.0 * speed / (PI * slow);
            assert!((full - full_mm).abs() < near, "{full} for {full_mm}");
            let empty = 10.0 * speed / (PI * fast);
            assert!((empty - hub).abs() < 1e-9, "{empty} for {hub}");
        }
        let [slow, fast] = reel(4.7625, 22.0, 18.0, 86.0).turns;
        assert!((0.29..0.33).contains(&slow) && (0.67..0.7).contains(&fast));
    }

    #[test]
    fn a_pack_moves_its_rate_as_it_does_when_played() {
        let rate = reel(4.7625, 22.0, 18.0, 86.0);
        let pack = rate.pack.unwrap();
        // One minute at the hub, by the geometry itself: 2.8575 m are wound.
        let diameter = (22.0f64.powi(2) + 4.0 * 0.018 * 2857.5 / PI).sqrt();
        let [before, after] = [22.0, diameter].map(|it| 47.625 / (PI * it));
        let middle = f64::midpoint(before, after);
        let by_geometry = 100.0 * (after / before).ln();
        let told = pack.percent_per_minute(middle);
        assert!(
            (told / by_geometry - 1.0).abs() < 0.01,
            "{told} {by_geometry}"
        );
        let [slow, _] = rate.turns;
        assert!(
            pack.percent_per_minute(slow) > told,
            "a full pack moves less"
        );
    }

    #[test]
    fn a_circle_of_drives_is_refused_with_its_names() {
        let part = |name: &str, by: &str| {
            format!("[[part]]\nname = \"{name}\"\ndriven_by = \"{by}\"\nratio = 2.0\n")
        };
        let text = format!(
            "parts_card = 1\nname = \"a\"\n{}{}{}",
            part("one", "two"),
            part("two", "three"),
            part("three", "one")
        );
        let error = PartsCard::from_toml(&text).unwrap_err().to_string();
        assert!(
            error.contains("circle: one by two by three by one"),
            "{error}"
        );
        let lost = format!("parts_card = 1\nname = \"a\"\n{}", part("one", "motor"));
        let error = PartsCard::from_toml(&lost).unwrap_err().to_string();
        assert!(
            error.contains("no part") && error.contains("motor"),
            "{error}"
        );
    }

    #[test]
    fn a_part_that_is_driven_may_be_slow_but_not_fast_beyond_all() {
        let driven = |ratio: f64| {
            let text = format!(
                "parts_card = 1\nname = \"a\"\n[[part]]\nname = \"idler\"\nturns_per_second = 4.0\n\
                 [[part]]\nname = \"counter\"\ndriven_by = \"idler\"\nratio = {ratio:?}\n"
            );
            PartsCard::from_toml(&text).map(|card| card.rates(None)[1].turns)
        };
        assert_eq!(driven(0.001), Ok([0.004; 2]));
        let refused = driven(1000.0).unwrap_err().to_string();
        assert!(
            refused.contains("counter") && refused.contains("500"),
            "{refused}"
        );
    }

    #[test]
    fn drives_pass_rates_and_tolerances_on() {
        let text = "parts_card = 1\nname = \"a\"\nspeed_cm_s = 4.7625\n\
            [[part]]\nname = \"capstan\"\ndiameter_mm = 2.5\ntolerance_percent = 3\n\
            [[part]]\nname = \"motor\"\ndriven_by = \"capstan\"\nratio = 6.0\ntolerance_percent = 4\n\
            [[part]]\nname = \"belt\"\ndriven_by = \"motor\"\nbelt_mm = 250\npulley_mm = 20\n";
        let rates = PartsCard::from_toml(text).unwrap().rates(None);
        // 47.625 ÷ (π · 2.5) = 6.064; × 6; × π · 20 ÷ 250.
        for (rate, turns) in rates.iter().zip([6.0638, 36.383, 9.1440]) {
            assert!((rate.turns[0] - turns).abs() < 1e-3, "{rate:?}");
        }
        assert!(
            (rates[1].tolerance_percent - 5.0).abs() < 1e-9,
            "√(3² + 4²)"
        );
    }
}
