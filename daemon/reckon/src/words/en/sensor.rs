//! What is said of a sensor, a board or a bus beside its readings.

#![expect(missing_docs, reason = "each text says what it is for")]

use alloc::{format, string::String};
use core::fmt::Display;

pub const POWER_CHIP: &str = "Power-management chip of the board";
pub const POWER_CHIP_NOTE: &str = "It measures the 5 V input's voltage and the board's own rails. Their sum is the least that \
    the board draws: USB devices, add-on boards and the converters' losses come on top.";
pub const NO_DEVICE_TREE: &str = "No device tree names this board, so nothing is assumed about its draw. Give the board in the \
    settings if you know it.";
pub const NO_HARDWARE_CLOCK: &str = "No hardware clock: after a power cut the time of day is wrong until a network, a phone or a \
    satellite receiver sets it. Durations are not affected.";

pub fn supply_promised(amps: f64) -> String {
    format!(
        "The supply offers {amps:.0} A. The board needs 5 A to run its USB ports at full power; \
         most banks give 3 A."
    )
}
pub const USB_CUT_OFF: &str = "At start a USB device drew too much current and was cut off.";
pub const OVER_VOLTAGE: &str = "too high a supply voltage";
pub const UNDER_VOLTAGE: &str = "too low a supply voltage";
pub const OVER_TEMPERATURE: &str = "too high a temperature";

pub fn last_restart(why: &dyn Display) -> String {
    format!("The last restart was caused by {why}.")
}
pub const NO_ANSWER: &str =
    "It does not answer. Check its plug and its supply, then wait a few seconds.";
pub const TAKEN_BY_DRIVER: &str =
    "A kernel driver has taken over this chip. From now on it is read through the driver.";

pub fn bus_denied(bus: &dyn Display) -> String {
    format!(
        "Reading /dev/i2c-{bus} is not allowed. Add the user that runs outlast to the group \
        i2c (sudo usermod -aG i2c USER) and start outlast again."
    )
}

pub fn bus_absent(bus: &dyn Display) -> String {
    format!(
        "/dev/i2c-{bus} is not there. Load the module i2c-dev (sudo modprobe i2c-dev); on a \
        Raspberry Pi also set dtparam=i2c_arm=on in config.txt and restart the board."
    )
}
pub const OTHER_MASTER: &str = "Another device was using the bus at the same time. It is tried \
                                again.";

pub fn line_low(bus: &dyn Display) -> String {
    format!(
        "A line of bus {bus} is held low. Look for a short in the wiring or a sensor without \
        supply."
    )
}

pub fn no_transfer(bus: &dyn Display) -> String {
    format!("Bus {bus} does not support the transfers it needs.")
}

pub fn bus_error(bus: &dyn Display, errno: &dyn Display) -> String {
    format!("Bus {bus} reported error {errno}. Check the wiring of the sensor.")
}
pub const NO_TEMPERATURE: &str = "No processor temperature can be read on this machine.";
pub const NO_POWER_SENSOR: &str = "No power sensor and no fuel gauge was found, so the draw can only be modelled from the board \
    and its load, and the forecast is wide. A power monitor such as an INA226 or INA219 board \
    between bank and board, on the I²C pins, makes it much sharper.";
pub const OWN_INPUT_DENIED: &str = "This board measures its own input voltage and rails, but /dev/vcio is closed to this user. \
    Add the user to the group video (ls -l /dev/vcio shows the group) and start outlast again.";
pub const OWN_INPUT_HIDDEN: &str = "This board measures its own input voltage and rails; only its \
                                    firmware knows them, and it cannot be asked here.";
pub const ONLY_UNDERVOLTAGE: &str = "Only undervoltage can be read here, not throttling.";
pub const FLAGS_DENIED: &str = "The firmware's flags about undervoltage and throttling cannot be read: /dev/vcio is closed \
    to this user. Add the user to the group video (ls -l /dev/vcio shows the group) and start \
    outlast again.";
pub const FLAGS_NO_MODULE: &str = "The firmware's flags about undervoltage and throttling cannot be read with this kernel. Load \
    the module raspberrypi-hwmon, or use the vendor's kernel.";
pub const NO_FLAGS: &str = "This board has nothing that reports undervoltage or throttling, so outlast cannot warn of \
    either. A sensor with a voltage reading helps.";
pub const UNDERVOLTAGE_MEANS: &str = "Undervoltage means that the 5 V input fell below about 4.63 V ± 5 %, mostly because of a \
    thin cable or a bank near its end.";
pub const NO_DETECTOR: &str = "This board has no undervoltage detector: no flag does not mean that \
                               the supply is good.";
pub const DETECTOR_UNKNOWN: &str =
    "Whether this board has an undervoltage detector is not known: only a raised flag counts.";
pub const OTHER_DEVICE: &str =
    "The battery of a device that is plugged in or paired (its scope says so), not this board's.";
pub const WAS_UNPLUGGED: &str = " Nothing was plugged in when outlast started.";
pub const WAS_PLUGGED_IN: &str = " Something was plugged in when outlast started.";

pub fn feeds_board(plugged: &dyn Display) -> String {
    format!("It feeds the board from outside and is not a battery.{plugged}")
}
pub const IGNORED: &str = "The settings say to ignore it.";
pub const MADE_UP: &str = "Made up by the kernel's module test_power; nothing real is behind it.";
pub const NO_CURRENT: &str = "This gauge measures no current. The time left follows from how fast its level falls, or from \
    a modelled draw.";

pub fn worn_cells(share: f64) -> String {
    format!("It says that the cells still hold {share:.0} % of what they held when new.")
}

pub fn same_name(base: &dyn Display) -> String {
    format!("Two monitors are both called {base} and cannot be told apart; only one is read.")
}
pub const UNKNOWN_CHIP: &str =
    "It measures a current, but outlast does not know this chip, so it is not used.";

pub fn channel_off(file: &dyn Display) -> String {
    format!(
        "This channel is switched off in the driver. To use it, write 1 to {file} as root and \
        start outlast again."
    )
}
pub const INNER_SHUNT_GIVEN: &str =
    "The shunt of this chip is inside it, so the one in the settings is not used.";

pub fn shunt_corrected(assumed: &dyn Display, given: &dyn Display, ratio: f64) -> String {
    format!(
        "The driver assumes a shunt of {assumed}, the settings say {given}: every \
        current is multiplied by {ratio:.4}."
    )
}

pub fn shunt_unknown_given(milliohms: &dyn Display) -> String {
    format!(
        "The settings say a shunt of {milliohms}, but this driver does not show which one it \
        assumes, so nothing is corrected by it. Compare with a meter and give a scale instead."
    )
}
pub const SHUNT_UNKNOWN: &str = "This driver does not show which shunt it assumes (2.5 or 10 mΩ if the device tree says \
    nothing). Compare the current once with a meter, and give a scale in the settings if it \
    differs.";

pub fn scaled(by: &dyn Display) -> String {
    format!("The settings multiply every current by {by}.")
}

pub fn shunt_by_default(shown: &dyn Display) -> String {
    format!(
        "The driver assumes a shunt of {shown}, which it also does when it was not told. Many \
         ready-made boards carry 100 mΩ (marked R100): then every current here is ten times too \
         high. Give shunt_ohm in the settings: what is printed on yours."
    )
}

pub fn shunt_assumed(shown: &dyn Display) -> String {
    format!("The driver assumes a shunt of {shown}; the settings do not say what is there.")
}
pub const ONE_SAMPLE: &str = "This chip's driver takes one sample of half a millisecond for each \
                              reading, so it is read five times a second and averaged.";
pub const SET_SHUNT: &str = "set shunt in the settings to what is printed on the sensor's board";
pub const CHECK_SHUNT: &str = "check the shunt in the settings";
pub const SET_SCALE: &str = "compare with a meter and set scale in the settings";

pub fn too_much_current(usb_most_amps: &dyn Display, cure: &dyn Display) -> String {
    format!(
        "More than {usb_most_amps} A at about 5 V: no USB bank gives that. Most likely the \
        shunt is ten times larger than assumed and the current ten times too high; {cure}."
    )
}
pub const BUSES_NOT_READ: &str = "Chips on a bus are not read while the system's files come from \
                                  another folder: that needs the real board.";

pub fn buses_not_searched(passed_over: &dyn Display) -> String {
    format!(
        "These buses were not searched for power monitors, because other things may sit on \
        them: {passed_over}. To use a monitor there, name its bus, address and chip in the \
        settings."
    )
}
pub const NO_BUS: &str = "No I²C bus is switched on, so no power monitor can be read without a driver. On a Raspberry \
    Pi set dtparam=i2c_arm=on in config.txt, load the module i2c-dev and restart the board.";

pub fn bad_place(matches: &dyn Display) -> String {
    format!(
        "The settings name a chip at '{matches}', which is not a bus and an address. Write \
        the bus number and the address in hexadecimal, such as 1-0040."
    )
}

pub fn driver_without_readings(driver: &dyn Display) -> String {
    format!(
        "The kernel driver {driver} owns it, and gives no readings in the form that outlast \
        reads. Unbind that driver, or load ina2xx instead."
    )
}

pub fn not_that_chip(name: &dyn Display) -> String {
    format!(
        "An {name} should be here, but what answers does not identify itself as one. Nothing \
        was written to it. Correct the chip in the settings."
    )
}
pub const NOT_A_MONITOR: &str = "It answers but does not identify itself as a power monitor, so it \
                                 is left alone. An INA219 cannot identify itself: if it is one, \
                                 name it in the settings.";
pub const SHORT_TRANSFERS: &str = "This bus has no transfers longer than two bytes: readings are sixteen times coarser, and the \
    chip's own energy count is not used.";

pub fn set_up_again(times: &dyn Display) -> String {
    format!(
        "It had lost its settings and was set up again, {times} since the start. Its supply is \
         interrupted for moments: check the plug."
    )
}
pub const READ_DIRECTLY: &str = "No kernel driver is bound to it; its registers are read directly.";
pub const COUNTS_ENERGY: &str = "It counts energy itself, and that count is used.";
pub const INNER_SHUNT: &str = "Its shunt is inside the chip; there is nothing to set.";

pub fn shunt_of_driver(drivers: &dyn Display) -> String {
    format!(
        "It is not known which shunt is soldered to it. The {drivers} Ω that its kernel driver \
         assumed stay in use, so that the current reads as before. Check the print on the large \
         resistor (R100 is 0.1 Ω, R010 is 0.01 Ω) and give shunt_ohm in the settings."
    )
}

pub fn shunt_usual(usual: &dyn Display) -> String {
    format!(
        "It is not known which shunt is soldered to it. {usual} Ω is assumed, which such boards \
         usually carry; a wrong one makes every current wrong by the same factor. Check the print \
         on the large resistor (R100 is 0.1 Ω, R010 is 0.01 Ω) and give shunt_ohm in the settings."
    )
}
pub const MAY_EXCEED: &str = " A Raspberry Pi under load can draw more than that; readings beyond it are marked, not \
    shown. A smaller shunt helps.";
pub const PROCESSOR: &str = "Processor load and clock";
pub const CLOCK_SHOWN: &str = "The clock shown does not fall when the firmware throttles.";
pub const CLOCK_HIDDEN: &str = "The kernel does not report the processor's clock here.";
pub const PROGRAMS_NOT_LISTED: &str = "Running programs are not listed: files are read below another folder, and programs run only \
    on the real machine.";
pub const BANK_BY_SETTINGS: &str = "Counts as the bank: the settings say so.";
pub const PART_BY_SETTINGS: &str = "Shown, not counted: the settings say so.";
pub const IGNORED_BY_SETTINGS: &str = "Ignored: the settings say so.";

pub fn counts_because(why: &dyn Display) -> String {
    format!("Counts as the bank: {why}.")
}
pub const ANOTHER_IS_NAMED: &str =
    "Shown, not counted: the settings name another sensor as the bank.";

pub fn same_chip(other: &dyn Display) -> String {
    format!("The same chip as {other}; only one of the two counts.")
}

pub fn other_taken(other: &dyn Display, why: &dyn Display) -> String {
    format!(
        "Shown, not counted: {other} is taken for the bank ({why}). If that is wrong, give \
        this one role = \"bank\" in the settings."
    )
}
pub const NOT_DECIDED: &str = "Whether this is the bank is decided when it has answered.";
pub const ONLY_ONE: &str = "it is the only power sensor";

pub fn label_says(label: &dyn Display) -> String {
    format!("its label is \"{label}\"")
}

pub fn same_chip_silent(channel: &dyn Display) -> String {
    format!("it is the same chip as {channel}, which is silent")
}
pub const SLOW: &str =
    "It has been slow to answer, so it is read apart from the others and cannot hold them up.";

pub fn others_there(others: &dyn Display) -> String {
    format!("Also there, not used: {others}.")
}

pub fn not_found(matches: &dyn Display) -> String {
    format!(
        "The settings name a sensor '{matches}', but none of that name was found when outlast \
         started. If it is plugged in later it is still recognised."
    )
}

pub fn bad_shunt(matches: &dyn Display) -> String {
    format!("The shunt of '{matches}' has to be above 0: not used.")
}

pub fn bad_scale(matches: &dyn Display) -> String {
    format!("The scale of '{matches}' has to be between -1000 and 1000 and not 0: not used.")
}

pub fn bad_address(address: &dyn core::fmt::LowerHex) -> String {
    format!(
        "The settings name a chip at address 0x{address:02x}, where none of these chips can \
        be: they have addresses 0x40 to 0x4f."
    )
}

pub fn nobody_at(
    address: &dyn core::fmt::LowerHex,
    number: &dyn Display,
    name: &dyn Display,
) -> String {
    format!(
        "Nothing answers at 0x{address:02x} on bus {number}, where an {name} should be. Check its \
         plug, its supply and its address pins."
    )
}

pub fn monitor_at(
    name: &dyn Display,
    address: &dyn core::fmt::LowerHex,
    bus: &dyn Display,
    inlet: &dyn Display,
) -> String {
    format!("{name} power monitor at 0x{address:02x} on bus {bus}{inlet}")
}

pub fn something_at(address: &dyn core::fmt::LowerHex, bus: &dyn Display) -> String {
    format!("Something at 0x{address:02x} on bus {bus}")
}

pub fn other_register(name: &dyn Display, config: &dyn core::fmt::UpperHex) -> String {
    format!(
        "An {name} should be here, but register 0 holds {config:04X}h, which is not what that \
        chip holds after it was switched on. Nothing was written to it. If another program has set \
        it up, take the sensor's supply away for a moment; if it is another chip, correct the \
        settings."
    )
}

pub fn measures_up_to(amps: f64, small: &dyn Display) -> String {
    format!("With this shunt it measures up to {amps:.3} A.{small}")
}

pub fn highest_voltage(volts: f64, candidates: &dyn Display) -> String {
    format!(
        "with {volts:.2} V it has the highest voltage of {candidates} power sensors, and \
        converters usually bring the bank's voltage down"
    )
}
