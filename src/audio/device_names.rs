//! Which names of devices are shown, and what a typed name means.

/// ALSA names of software that is no device, of views of a device that is
/// listed already, and of ways to a sound server.
const ALSA_NOT_SHOWN: &str = "a52 bluealsa center_lfe copy dca default dmix dsnoop equal file front hdmi iec958 jack \
    lavrate lavrate_higher modem null oss phoneline pipewire plughw pulse rate rear \
    samplerate shm side spdif speex speexrate sysdefault upmix usbstream vdownmix";

/// Whether an ALSA name is shown, among all of them: hardware by the name of
/// its card, by number only where the name is not listed, and what the user
/// has made in a configuration of their own.
pub(super) fn is_shown(pcm: &str, all: &[String]) -> bool {
    let (kind, card) = pcm.split_once(':').unwrap_or((pcm, ""));
    if ALSA_NOT_SHOWN.split(' ').any(|it| it == kind) || kind.starts_with("surround") {
        return false;
    }
    let numbered = |card: &str| {
        card.strip_prefix("CARD=")
            .is_some_and(|rest| rest.starts_with(|c: char| c.is_ascii_digit()))
    };
    let named = |other: &String| {
        other
            .split_once(':')
            .is_some_and(|(kind, card)| kind == "hw" && !numbered(card))
    };
    !(kind == "hw" && numbered(card) && all.iter().any(named))
}

/// Whether an id and a name are meant.
type Rule<'a> = &'a dyn Fn(&str, &str) -> bool;

pub(super) enum Choice {
    One(usize),
    Several(Vec<String>),
    None,
}

/// The entry that `wanted` means: its id, its id without the host, its name,
/// or the beginning of one name only; upper or lower case alike for names.
pub(super) fn choose<T>(all: &[T], wanted: &str, label: impl Fn(&T) -> (String, String)) -> Choice {
    let folded = wanted.to_lowercase();
    let labels: Vec<(String, String)> = all.iter().map(label).collect();
    let without_host = |id: &str| id.split_once(':').map(|(_, rest)| rest.to_owned());
    let rules: [Rule; 4] = [
        &|id, _| id == wanted,
        &|id, _| without_host(id).as_deref() == Some(wanted),
        &|_, name| name.to_lowercase() == folded,
        &|_, name| name.to_lowercase().starts_with(&folded),
    ];
    for rule in rules {
        let mut matching: Vec<usize> = (0..labels.len())
            .filter(|&n| rule(&labels[n].0, &labels[n].1))
            .collect();
        matching.dedup_by_key(|n| labels[*n].0.clone());
        match matching[..] {
            [] => {}
            [one] => return Choice::One(one),
            _ => {
                let texts = matching
                    .iter()
                    .map(|&n| format!("\"{}\" ({})", labels[n].1, labels[n].0))
                    .collect();
                return Choice::Several(texts);
            }
        }
    }
    Choice::None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plugins_are_not_shown_and_hardware_is() {
        let all = "null lavrate samplerate speexrate jack oss pulse speex upmix vdownmix default \
            sysdefault:CARD=PCH front:CARD=PCH,DEV=0 surround51:CARD=PCH,DEV=0 \
            hw:CARD=PCH,DEV=0 plughw:CARD=PCH,DEV=0 hw:CARD=0,DEV=0 plughw:CARD=0,DEV=0 \
            dsnoop:CARD=PCH,DEV=0 bench_left";
        let all: Vec<String> = all.split(' ').map(String::from).collect();
        let shown: Vec<&String> = all.iter().filter(|pcm| is_shown(pcm, &all)).collect();
        assert_eq!(shown, ["hw:CARD=PCH,DEV=0", "bench_left"]);
    }

    #[test]
    fn numbered_hardware_is_shown_where_no_names_are() {
        let all = [
            "hw:CARD=0,DEV=0".to_owned(),
            "plughw:CARD=0,DEV=0".to_owned(),
        ];
        assert!(is_shown(&all[0], &all));
        assert!(!is_shown(&all[1], &all));
    }

    fn chosen(wanted: &str) -> Result<usize, usize> {
        let all = [
            ("alsa:deck", "Monitor of Deck"),
            ("alsa:usb", "USB Line"),
            ("alsa:hw:CARD=A,DEV=0", "USB Line"),
            ("alsa:hw:CARD=B,DEV=0", "USB Line In"),
        ];
        let label = |pair: &(&str, &str)| (pair.0.to_owned(), pair.1.to_owned());
        match choose(&all, wanted, label) {
            Choice::One(index) => Ok(index),
            Choice::Several(matching) => Err(matching.len()),
            Choice::None => Err(0),
        }
    }

    #[test]
    fn ids_names_and_beginnings_of_names_are_understood() {
        assert_eq!(chosen("alsa:usb"), Ok(1));
        assert_eq!(chosen("hw:CARD=A,DEV=0"), Ok(2));
        assert_eq!(chosen("deck"), Ok(0));
        assert_eq!(chosen("monitor OF deck"), Ok(0));
        assert_eq!(chosen("moni"), Ok(0));
        // A whole name goes before a longer one that begins with it.
        assert_eq!(chosen("usb line in"), Ok(3));
    }

    #[test]
    fn what_fits_several_or_none_is_not_guessed() {
        assert_eq!(chosen("USB Line"), Err(2));
        assert_eq!(chosen("us"), Err(3));
        assert_eq!(chosen("tape"), Err(0));
    }
}
