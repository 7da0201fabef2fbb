//! The newest boards' power-management chip, which measures its own rails and the 5 V input. The
//! sum over the rails is a lower bound of what the board draws: converters' losses, USB devices
//! and whatever hangs on the 5 V pins are not in it.

use std::{io, ops::RangeInclusive};

use reckon::{
    reading::{Gap, Got, Via},
    time::Mono,
    units::{Volts, Watts},
    words,
};

use crate::{
    files,
    source::{BoardPart, Channel, Reading, Source},
};

/// Who hands over the chip's readings as text.
pub(crate) type Text = Box<dyn FnMut() -> io::Result<String> + Send>;

/// What the firmware is asked.
pub(crate) const QUESTION: &str = "pmic_read_adc";
/// The input of a 5 V board; the chip gives up long before either end.
const INPUT_VOLTS: RangeInclusive<f64> = 0.0..=24.0;
/// No rail of such a board carries more.
const RAIL_AMPS: RangeInclusive<f64> = -1.0..=50.0;
const RAIL_VOLTS: RangeInclusive<f64> = 0.0..=24.0;
/// The board's own supply cannot give more than 25 W.
const MOST_WATTS: f64 = 60.0;

/// The chip, as a source.
pub(crate) struct PowerAdc {
    channel: [Channel; 1],
    text: Text,
}

impl PowerAdc {
    /// Reads through this door.
    pub(crate) fn new(text: Text) -> Self {
        let mut channel = Channel::new("power-adc", words::sensor::POWER_CHIP, Via::PowerAdc);
        channel.notes.push(words::sensor::POWER_CHIP_NOTE.into());
        Self { channel: [channel], text }
    }
}

impl Source for PowerAdc {
    fn channels(&self) -> &[Channel] {
        &self.channel
    }

    fn read(&mut self, _at: Mono, into: &mut Vec<Reading>) {
        let readings = (self.text)().map_err(|error| files::gap(&error)).map(|text| parse(&text));
        let part = match readings {
            Ok(rails) => BoardPart {
                input_volts: Some(rails.input),
                rails_at_least: Some(rails.sum),
                ..BoardPart::NOTHING
            },
            Err(gap) => BoardPart {
                input_volts: Some(Err(gap)),
                rails_at_least: Some(Err(gap)),
                ..BoardPart::NOTHING
            },
        };
        into.push(Reading::Board(part));
    }
}

/// What the text says.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Rails {
    input: Got<Volts>,
    sum: Got<Watts>,
    pairs: u16,
}

/// One line each: `  3V3_SYS_A current(1)=0.08783370A`. Currents and voltages belong together by
/// name; the numbers in brackets are in no order.
///
/// Source: the vendor's documentation of `vcgencmd pmic_read_adc`.
fn parse(text: &str) -> Rails {
    let mut volts: Vec<(&str, f64)> = Vec::new();
    let mut amps: Vec<(&str, f64)> = Vec::new();
    for line in text.lines().take(128) {
        match value(line) {
            Some((name, 'V', value)) => volts.push((name, value)),
            Some((name, _, value)) => amps.push((name, value)),
            None => {}
        }
    }
    let at = |name: &str| volts.iter().find(|(rail, _)| *rail == name).map(|(_, value)| *value);
    let input = match at("EXT5V") {
        Some(value) if INPUT_VOLTS.contains(&value) => Ok(Volts::of(value)),
        Some(_) => Err(Gap::Implausible),
        None => Err(Gap::Garbled),
    };
    let mut sum = 0.0;
    let mut pairs = 0;
    let mut broken = false;
    for (name, current) in &amps {
        if let Some(voltage) = at(name) {
            broken |= !RAIL_AMPS.contains(current) || !RAIL_VOLTS.contains(&voltage);
            sum += current * voltage;
            pairs += 1;
        }
    }
    let sum = match pairs {
        0 => Err(Gap::Garbled),
        _ if broken || !(0.0..=MOST_WATTS).contains(&sum) => Err(Gap::Implausible),
        _ => Ok(Watts::of(sum)),
    };
    Rails { input, sum, pairs }
}

/// The rail's name without its ending, the unit, the number.
fn value(line: &str) -> Option<(&str, char, f64)> {
    let (name, rest) = line.trim().split_once(' ')?;
    let (kind, number) = rest.trim().split_once(")=")?;
    let (name, unit) = match (name.strip_suffix("_A"), name.strip_suffix("_V")) {
        (Some(rail), _) if kind.starts_with("current(") => (rail, 'A'),
        (_, Some(rail)) if kind.starts_with("volt(") => (rail, 'V'),
        _ => return None,
    };
    let value: f64 = number.strip_suffix(unit)?.parse().ok()?;
    value.is_finite().then_some((name, unit, value))
}

/// A published capture of a board with four busy cores; the sum was worked out by hand from
/// its twelve pairs.
#[cfg(test)]
pub(crate) const CAPTURE: &str = "\
 3V7_WL_SW_A current(0)=0.09368929A
   3V3_SYS_A current(1)=0.08783370A
   1V8_SYS_A current(2)=0.18054710A
  DDR_VDD2_A current(3)=0.22543980A
  DDR_VDDQ_A current(4)=0.06666720A
   1V1_SYS_A current(5)=0.17566740A
    0V8_SW_A current(6)=0.37670900A
  VDD_CORE_A current(7)=6.22421000A
   3V3_DAC_A current(17)=0.00006105A
   3V3_ADC_A current(18)=0.00036630A
   0V8_AON_A current(16)=0.00305250A
      HDMI_A current(22)=0.02417580A
 3V7_WL_SW_V volt(8)=3.69977600V
   3V3_SYS_V volt(9)=3.31003300V
   1V8_SYS_V volt(10)=1.80512600V
  DDR_VDD2_V volt(11)=1.10476100V
  DDR_VDDQ_V volt(12)=0.60146460V
   1V1_SYS_V volt(13)=1.11025500V
    0V8_SW_V volt(14)=0.80146440V
  VDD_CORE_V volt(15)=0.86173300V
   3V3_DAC_V volt(20)=3.31318300V
   3V3_ADC_V volt(21)=3.30677300V
   0V8_AON_V volt(19)=0.80029220V
      HDMI_V volt(23)=5.08664000V
     EXT5V_V volt(24)=5.09066000V
      BATT_V volt(25)=0.00000000V
";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_published_capture_adds_up() {
        let rails = parse(CAPTURE);
        assert_eq!(rails.input, Ok(Volts::of(5.09066)));
        assert_eq!(rails.pairs, 12);
        let watts = rails.sum.unwrap().si();
        assert!((watts - 7.239_819).abs() < 1e-5, "{watts}");
    }

    #[test]
    fn a_rail_at_rest_may_draw_nothing() {
        let rails = parse("DDR_VDDQ_A current(4)=0.00000000A\nDDR_VDDQ_V volt(12)=0.60146460V\n");
        assert_eq!(rails.sum, Ok(Watts::ZERO));
        assert_eq!(rails.input, Err(Gap::Garbled));
    }

    #[test]
    fn garbage_gives_reasons_and_no_numbers() {
        for text in ["", "error=1 error_msg=\"Command not registered\"", "A current(=1A", "_A _V"] {
            let rails = parse(text);
            assert_eq!((rails.sum, rails.input), (Err(Gap::Garbled), Err(Gap::Garbled)), "{text}");
        }
        let rails = parse("X_A current(0)=nanA\nX_V volt(1)=1e300V\nEXT5V_V volt(24)=1e9V");
        assert_eq!((rails.sum, rails.input), (Err(Gap::Garbled), Err(Gap::Implausible)));
        let rails = parse("X_A current(0)=1e30A\nX_V volt(1)=1e300V");
        assert_eq!(rails.sum, Err(Gap::Implausible));
    }
}
