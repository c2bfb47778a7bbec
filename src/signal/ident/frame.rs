//! The message of an ident, as bits.

use jiff::civil::Date;

use crate::units::Hertz;

/// Longest name of a machine, in octets of UTF-8.
pub const LONGEST_NAME: usize = 24;

/// Version of the message, of three bits.
const VERSION: u8 = 1;

/// Octets beside the name: length, date, frequency, checksum.
const BESIDE_NAME: usize = 1 + 2 + 4 + 4;

/// Bits of the longest message.
pub(super) const MOST_BITS: usize = 8 * (BESIDE_NAME + LONGEST_NAME);

/// Frequencies that can be a reference, in hertz.
const FREQUENCIES_HZ: [f64; 2] = [10.0, 100_000.0];

/// What a tape says of itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Ident {
    machine: String,
    date: Date,
    nominal_hz: f64,
}

/// Why something cannot be said on a tape.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum IdentError {
    /// No name, or one with what cannot be shown in it.
    #[error("the machine's name is empty or holds what cannot be shown; write letters and figures")]
    NoName,
    /// The name is too long.
    #[error(
        "the machine's name takes {0} octets, and an ident has room for {LONGEST_NAME} (accented letters take two); shorten it"
    )]
    LongName(usize),
    /// The date is none of this scheme.
    #[error("{0} cannot be the date of a tape; it must lie between 2000-01-01 and 2127-12-31")]
    Date(Date),
    /// The frequency is none of a reference.
    #[error("{0} cannot be the frequency of a reference; it must lie between 10 and 100000 Hz")]
    Frequency(Hertz),
}

impl Ident {
    /// The name of the machine that records the tape, the day, and the
    /// frequency of the reference on it, which is kept to a thousandth of a
    /// hertz.
    pub fn new(machine: &str, date: Date, nominal: Hertz) -> Result<Self, IdentError> {
        let machine = machine.trim();
        if machine.is_empty() || machine.chars().any(char::is_control) {
            return Err(IdentError::NoName);
        }
        if machine.len() > LONGEST_NAME {
            return Err(IdentError::LongName(machine.len()));
        }
        if !(2000..=2127).contains(&date.year()) {
            return Err(IdentError::Date(date));
        }
        if !(FREQUENCIES_HZ[0]..=FREQUENCIES_HZ[1]).contains(&nominal.0) {
            return Err(IdentError::Frequency(nominal));
        }
        Ok(Self {
            machine: machine.to_owned(),
            date,
            nominal_hz: (nominal.0 * 1000.0).round() / 1000.0,
        })
    }

    /// The machine that the tape was recorded on.
    pub fn machine(&self) -> &str {
        &self.machine
    }

    /// The day on which the programme was made.
    pub fn date(&self) -> Date {
        self.date
    }

    /// The frequency of the reference on the tape.
    pub fn nominal(&self) -> Hertz {
        Hertz(self.nominal_hz)
    }

    /// The message, checksum and all, whitened.
    pub(super) fn to_bits(&self) -> Vec<bool> {
        let mut octets = vec![VERSION << 5 | self.machine.len() as u8];
        octets.extend(packed(self.date).to_be_bytes());
        octets.extend(((self.nominal_hz * 1000.0).round() as u32).to_be_bytes());
        octets.extend(self.machine.bytes());
        signed(octets)
    }

    /// The message of whitened bits; `None` unless all of it is right. Bits
    /// after its end do not matter.
    pub(super) fn from_bits(bits: &[bool]) -> Option<Self> {
        let length = length_of(bits)?;
        let octets = octets(bits.get(..length)?);
        let (message, sum) = octets.split_at(octets.len() - 4);
        if checksum(message).to_be_bytes() != sum {
            return None;
        }
        let (head, name) = message.split_at(7);
        let date = unpacked(u16::from_be_bytes([head[1], head[2]]))?;
        let thousandths = u32::from_be_bytes([head[3], head[4], head[5], head[6]]);
        let nominal = Hertz(f64::from(thousandths) / 1000.0);
        Self::new(std::str::from_utf8(name).ok()?, date, nominal).ok()
    }
}

/// How many bits a message has, once its first octet is there; `None` before
/// that, and where no message begins like this.
pub(super) fn length_of(bits: &[bool]) -> Option<usize> {
    let first = octets(bits.get(..8)?)[0];
    let name = usize::from(first & 31);
    (first >> 5 == VERSION && (1..=LONGEST_NAME).contains(&name))
        .then_some(8 * (BESIDE_NAME + name))
}

fn octets(whitened: &[bool]) -> Vec<u8> {
    let bits: Vec<bool> = whitened
        .iter()
        .zip(Whitening::new())
        .map(|(bit, w)| bit ^ w)
        .collect();
    let octet = |bits: &[bool]| {
        bits.iter()
            .fold(0, |octet, bit| octet << 1 | u8::from(*bit))
    };
    bits.chunks_exact(8).map(octet).collect()
}

/// A message with its checksum, whitened.
fn signed(mut octets: Vec<u8>) -> Vec<bool> {
    octets.extend(checksum(&octets).to_be_bytes());
    let bits = octets
        .iter()
        .flat_map(|octet| (0..8).rev().map(move |bit| octet >> bit & 1 == 1));
    bits.zip(Whitening::new()).map(|(bit, w)| bit ^ w).collect()
}

/// Seven bits of the year since 2000, four of the month, five of the day.
fn packed(date: Date) -> i16 {
    (date.year() - 2000) << 9 | i16::from(date.month()) << 5 | i16::from(date.day())
}

/// `None` where there is no such day.
fn unpacked(packed: u16) -> Option<Date> {
    let [month, day] = [packed >> 5 & 15, packed & 31].map(|it| it as i8);
    Date::new(2000 + (packed >> 9).cast_signed(), month, day).ok()
}

/// CRC-32 with the polynomial of Ethernet, reflected 0xEDB88320, begun and
/// ended with all ones (IEEE 802.3, clause 3.2.9).
fn checksum(octets: &[u8]) -> u32 {
    let step = |sum: u32, _| sum >> 1 ^ (0xedb8_8320 & (sum & 1).wrapping_neg());
    let octet = |sum: u32, octet: &u8| (0..8).fold(sum ^ u32::from(*octet), step);
    !octets.iter().fold(u32::MAX, octet)
}

/// Makes long rows of equal bits rare, from which nobody could tell where a
/// bit ends: a shift register of seven bits, x⁷ + x⁶ + 1, which comes back
/// after 127 (ITU-T O.150 names the same one).
struct Whitening(u8);

impl Whitening {
    fn new() -> Self {
        Self(0x55)
    }
}

impl Iterator for Whitening {
    type Item = bool;

    fn next(&mut self) -> Option<bool> {
        let bit = (self.0 >> 6 ^ self.0 >> 5) & 1;
        self.0 = (self.0 << 1 | bit) & 0x7f;
        Some(bit == 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    const DAY: Date = date(2026, 11, 26);

    #[test]
    fn the_checksum_is_the_published_one() {
        // Check value of CRC-32 for the nine figures, in every table of CRCs.
        assert_eq!(checksum(b"123456789"), 0xcbf4_3926);
    }

    #[test]
    fn what_is_said_is_understood() {
        for name in ["a", "Bench deck 2", "Röhre", "abcdefghijklmnopqrstuvwx"] {
            let ident = Ident::new(name, DAY, Hertz(3150.0)).unwrap();
            let mut bits = ident.to_bits();
            assert_eq!(length_of(&bits), Some(bits.len()));
            bits.extend([true; 40]);
            assert_eq!(Ident::from_bits(&bits), Some(ident), "{name}");
        }
        let note = Ident::new("x", DAY, Hertz(261.625_565)).unwrap();
        assert!((note.nominal().0 - 261.626).abs() < 1e-9);
    }

    #[test]
    fn no_wrong_bit_goes_unseen() {
        let bits = Ident::new("Bench deck 2", DAY, Hertz(3150.0))
            .unwrap()
            .to_bits();
        for wrong in 0..bits.len() {
            let mut bits = bits.clone();
            bits[wrong] ^= true;
            assert_eq!(Ident::from_bits(&bits), None, "{wrong}");
        }
        for length in 0..bits.len() {
            assert_eq!(Ident::from_bits(&bits[..length]), None, "{length}");
        }
    }

    #[test]
    fn a_day_that_no_calendar_has_is_not_believed() {
        let on = |month: u16, day: u16| {
            let mut octets = vec![VERSION << 5 | 1];
            octets.extend((26 << 9 | month << 5 | day).to_be_bytes());
            octets.extend(3_150_000u32.to_be_bytes());
            octets.push(b'x');
            Ident::from_bits(&signed(octets)).map(|ident| ident.date())
        };
        assert_eq!(on(2, 28), Some(date(2026, 2, 28)));
        for (month, day) in [(2, 29), (2, 31), (4, 31), (13, 1), (0, 1), (1, 0)] {
            assert_eq!(on(month, day), None, "{month} {day}");
        }
    }

    #[test]
    fn rows_of_equal_bits_are_short() {
        for name in ["aaaaaaaaaaaaaaaaaaaaaaaa", "UUUU", "Bench deck 2"] {
            let bits = Ident::new(name, DAY, Hertz(3150.0)).unwrap().to_bits();
            let longest = bits.chunk_by(|a, b| a == b).map(<[bool]>::len).max();
            assert!(longest < Some(16), "{name}: {longest:?}");
        }
    }

    #[test]
    fn what_cannot_be_said_is_refused_with_a_way_out() {
        let long = Ident::new(&"x".repeat(25), DAY, Hertz(3150.0)).unwrap_err();
        assert!(long.to_string().contains("room for 24"), "{long}");
        for name in ["", "  ", "a\nb"] {
            assert_eq!(Ident::new(name, DAY, Hertz(1.0)), Err(IdentError::NoName));
        }
        for day in [date(1999, 12, 31), date(2128, 1, 1)] {
            let refused = Ident::new("x", day, Hertz(3150.0));
            assert_eq!(refused, Err(IdentError::Date(day)));
        }
        let last = Ident::new("x", date(2127, 12, 31), Hertz(3150.0)).unwrap();
        assert_eq!(Ident::from_bits(&last.to_bits()), Some(last));
        assert!(Ident::new("x", DAY, Hertz(f64::NAN)).is_err());
    }
}
