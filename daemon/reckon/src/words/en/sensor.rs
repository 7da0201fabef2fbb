//! What is said of a sensor, a board or a bus beside its readings.

sentences! {
    POWER_CHIP = "Power-management chip of the board";
    POWER_CHIP_NOTE = "It measures the 5 V input's voltage and the board's own rails. Their sum is \
        the least that the board draws: USB devices, add-on boards and the converters' losses come \
        on top.";
    NO_DEVICE_TREE = "No device tree names this board, so nothing is assumed about its draw. Give \
        the board in the settings if you know it.";
    NO_HARDWARE_CLOCK = "No hardware clock: after a power cut the time of day is wrong until a \
        network, a phone or a satellite receiver sets it. Durations are not affected.";
    supply_promised(amps: f64) = "The supply offers {amps:.0} A. The board needs 5 A to run its \
        USB ports at full power; most banks give 3 A.";
    USB_CUT_OFF = "At start a USB device drew too much current and was cut off.";
    OVER_VOLTAGE = "too high a supply voltage";
    UNDER_VOLTAGE = "too low a supply voltage";
    OVER_TEMPERATURE = "too high a temperature";
    last_restart(why) = "The last restart was caused by {why}.";
    NO_ANSWER = "It does not answer. Check its plug and its supply, then wait a few seconds.";
    TAKEN_BY_DRIVER = "A kernel driver has taken over this chip. From now on it is read through \
        the driver.";
    bus_denied(bus) = "Reading /dev/i2c-{bus} is not allowed. Add the user that runs outlast to \
        the group i2c (sudo usermod -aG i2c USER) and start outlast again.";
    bus_absent(bus) = "/dev/i2c-{bus} is not there. Load the module i2c-dev (sudo modprobe \
        i2c-dev); on a Raspberry Pi also set dtparam=i2c_arm=on in config.txt and restart the \
        board.";
    OTHER_MASTER = "Another device was using the bus at the same time. It is tried again.";
    line_low(bus) = "A line of bus {bus} is held low. Look for a short in the wiring or a sensor \
        without supply.";
    no_transfer(bus) = "Bus {bus} does not support the transfers it needs.";
    bus_error(bus, errno) = "Bus {bus} reported error {errno}. Check the wiring of the sensor.";
    NO_TEMPERATURE = "No processor temperature can be read on this machine.";
    NO_POWER_SENSOR = "No power sensor and no fuel gauge was found, so the draw can only be \
        modelled from the board and its load, and the forecast is wide. A power monitor such as an \
        INA226 or INA219 board between bank and board, on the I²C pins, makes it much sharper.";
    OWN_INPUT_DENIED = "This board measures its own input voltage and rails, but /dev/vcio is \
        closed to this user. Add the user to the group video (ls -l /dev/vcio shows the group) and \
        start outlast again.";
    OWN_INPUT_HIDDEN = "This board measures its own input voltage and rails; only its firmware \
        knows them, and it cannot be asked here.";
    ONLY_UNDERVOLTAGE = "Only undervoltage can be read here, not throttling.";
    FLAGS_DENIED = "The firmware's flags about undervoltage and throttling cannot be read: \
        /dev/vcio is closed to this user. Add the user to the group video (ls -l /dev/vcio shows \
        the group) and start outlast again.";
    FLAGS_NO_MODULE = "The firmware's flags about undervoltage and throttling cannot be read with \
        this kernel. Load the module raspberrypi-hwmon, or use the vendor's kernel.";
    NO_FLAGS = "This board has nothing that reports undervoltage or throttling, so outlast cannot \
        warn of either. A sensor with a voltage reading helps.";
    UNDERVOLTAGE_MEANS = "Undervoltage means that the 5 V input fell below about 4.63 V ± 5 %, \
        mostly because of a thin cable or a bank near its end.";
    NO_DETECTOR = "This board has no undervoltage detector: no flag does not mean that the supply \
        is good.";
    DETECTOR_UNKNOWN = "Whether this board has an undervoltage detector is not known: only a \
        raised flag counts.";
    OTHER_DEVICE = "The battery of a device that is plugged in or paired (its scope says so), not \
        this board's.";
    WAS_UNPLUGGED = " Nothing was plugged in when outlast started.";
    WAS_PLUGGED_IN = " Something was plugged in when outlast started.";
    feeds_board(plugged) = "It feeds the board from outside and is not a battery.{plugged}";
    IGNORED = "The settings say to ignore it.";
    MADE_UP = "Made up by the kernel's module test_power; nothing real is behind it.";
    NO_CURRENT = "This gauge measures no current. The time left follows from how fast its level \
        falls, or from a modelled draw.";
    worn_cells(share: f64) = "It says that the cells still hold {share:.0} % of what they held \
        when new.";
    same_name(base) = "Two monitors are both called {base} and cannot be told apart; only one is \
        read.";
    UNKNOWN_CHIP = "It measures a current, but outlast does not know this chip, so it is not used.";
    channel_off(file) = "This channel is switched off in the driver. To use it, write 1 to {file} \
        as root and start outlast again.";
    INNER_SHUNT_GIVEN = "The shunt of this chip is inside it, so the one in the settings is not \
        used.";
    shunt_corrected(assumed, given, ratio: f64) = "The driver assumes a shunt of {assumed}, the \
        settings say {given}: every current is multiplied by {ratio:.4}.";
    shunt_unknown_given(milliohms) = "The settings say a shunt of {milliohms}, but this driver \
        does not show which one it assumes, so nothing is corrected by it. Compare with a meter \
        and give a scale instead.";
    SHUNT_UNKNOWN = "This driver does not show which shunt it assumes (2.5 or 10 mΩ if the device \
        tree says nothing). Compare the current once with a meter, and give a scale in the \
        settings if it differs.";
    scaled(by) = "The settings multiply every current by {by}.";
    shunt_by_default(shown) = "The driver assumes a shunt of {shown}, which it also does when it \
        was not told. Many ready-made boards carry 100 mΩ (marked R100): then every current here \
        is ten times too high. Give shunt_ohm in the settings: what is printed on yours.";
    shunt_assumed(shown) = "The driver assumes a shunt of {shown}; the settings do not say what is \
        there.";
    ONE_SAMPLE = "This chip's driver takes one sample of half a millisecond for each reading, so \
        it is read five times a second and averaged.";
    averages_long(ms) = "Its driver averages over {ms} ms. Nothing is missed, but what changes within \
        seconds shows late; 35 ms in update_interval is better for reports.";
    averages_short(ms) = "Its driver averages over {ms} ms, so it is read at another moment of each \
        second.";
    AVERAGING_UNKNOWN = "How long its driver averages is not known, so it is read at another \
        moment of each second.";
    SET_SHUNT = "set shunt in the settings to what is printed on the sensor's board";
    CHECK_SHUNT = "check the shunt in the settings";
    SET_SCALE = "compare with a meter and set scale in the settings";
    too_much_current(usb_most_amps, cure) = "More than {usb_most_amps} A at about 5 V: no USB bank \
        gives that. Most likely the shunt is ten times larger than assumed and the current ten \
        times too high; {cure}.";
    BUSES_NOT_READ = "Chips on a bus are not read while the system's files come from another \
        folder: that needs the real board.";
    buses_not_searched(passed_over) = "These buses were not searched for power monitors, because \
        other things may sit on them: {passed_over}. To use a monitor there, name its bus, address \
        and chip in the settings.";
    NO_BUS = "No I²C bus is switched on, so no power monitor can be read without a driver. On a \
        Raspberry Pi set dtparam=i2c_arm=on in config.txt, load the module i2c-dev and restart the \
        board.";
    bad_place(matches) = "The settings name a chip at '{matches}', which is not a bus and an \
        address. Write the bus number and the address in hexadecimal, such as 1-0040.";
    driver_without_readings(driver) = "The kernel driver {driver} owns it, and gives no readings \
        in the form that outlast reads. Unbind that driver, or load ina2xx instead.";
    not_that_chip(name) = "An {name} should be here, but what answers does not identify itself as \
        one. Nothing was written to it. Correct the chip in the settings.";
    NOT_A_MONITOR = "It answers but does not identify itself as a power monitor, so it is left \
        alone. An INA219 cannot identify itself: if it is one, name it in the settings.";
    SHORT_TRANSFERS = "This bus has no transfers longer than two bytes: readings are sixteen times \
        coarser, and the chip's own energy count is not used.";
    set_up_again(times) = "It had lost its settings and was set up again, {times} since the start. \
        Its supply is interrupted for moments: check the plug.";
    READ_DIRECTLY = "No kernel driver is bound to it; its registers are read directly.";
    COUNTS_ENERGY = "It counts energy itself, and that count is used.";
    INNER_SHUNT = "Its shunt is inside the chip; there is nothing to set.";
    shunt_of_driver(drivers) = "It is not known which shunt is soldered to it. The {drivers} Ω \
        that its kernel driver assumed stay in use, so that the current reads as before. Check the \
        print on the large resistor (R100 is 0.1 Ω, R010 is 0.01 Ω) and give shunt_ohm in the \
        settings.";
    shunt_usual(usual) = "It is not known which shunt is soldered to it. {usual} Ω is assumed, \
        which such boards usually carry; a wrong one makes every current wrong by the same factor. \
        Check the print on the large resistor (R100 is 0.1 Ω, R010 is 0.01 Ω) and give shunt_ohm \
        in the settings.";
    MAY_EXCEED = " A Raspberry Pi under load can draw more than that; readings beyond it are \
        marked, not shown. A smaller shunt helps.";
    PROCESSOR = "Processor load and clock";
    CLOCK_SHOWN = "The clock shown does not fall when the firmware throttles.";
    CLOCK_HIDDEN = "The kernel does not report the processor's clock here.";
    PROGRAMS_NOT_LISTED = "Running programs are not listed: files are read below another folder, \
        and programs run only on the real machine.";
    BANK_BY_SETTINGS = "Counts as the bank: the settings say so.";
    PART_BY_SETTINGS = "Shown, not counted: the settings say so.";
    IGNORED_BY_SETTINGS = "Ignored: the settings say so.";
    counts_because(why) = "Counts as the bank: {why}.";
    ANOTHER_IS_NAMED = "Shown, not counted: the settings name another sensor as the bank.";
    same_chip(other) = "The same chip as {other}; only one of the two counts.";
    other_taken(other, why) = "Shown, not counted: {other} is taken for the bank ({why}). If that \
        is wrong, give this one role = \"bank\" in the settings.";
    NOT_DECIDED = "Whether this is the bank is decided when it has answered.";
    ONLY_ONE = "it is the only power sensor";
    label_says(label) = "its label is \"{label}\"";
    same_chip_silent(channel) = "it is the same chip as {channel}, which is silent";
    SLOW = "It has been slow to answer, so it is read apart from the others and cannot hold them \
        up.";
    others_there(others) = "Also there, not used: {others}.";
    not_found(matches) = "The settings name a sensor '{matches}', but none of that name was found \
        when outlast started. If it is plugged in later it is still recognised.";
    bad_shunt(matches) = "The shunt of '{matches}' has to be above 0: not used.";
    bad_scale(matches) = "The scale of '{matches}' has to be between -1000 and 1000 and not 0: not \
        used.";
    bad_address(address: &dyn core::fmt::LowerHex) = "The settings name a chip at address \
        0x{address:02x}, where none of these chips can be: they have addresses 0x40 to 0x4f.";
    nobody_at(address: &dyn core::fmt::LowerHex, number, name) = "Nothing answers at \
        0x{address:02x} on bus {number}, where an {name} should be. Check its plug, its supply and \
        its address pins.";
    monitor_at(name, address: &dyn core::fmt::LowerHex, bus, inlet) = "{name} power monitor at \
        0x{address:02x} on bus {bus}{inlet}";
    something_at(address: &dyn core::fmt::LowerHex, bus) = "Something at 0x{address:02x} on bus \
        {bus}";
    other_register(name, config: &dyn core::fmt::UpperHex) = "An {name} should be here, but \
        register 0 holds {config:04X}h, which is not what that chip holds after it was switched \
        on. Nothing was written to it. If another program has set it up, take the sensor's supply \
        away for a moment; if it is another chip, correct the settings.";
    measures_up_to(amps: f64, small) = "With this shunt it measures up to {amps:.3} A.{small}";
    highest_voltage(volts: f64, candidates) = "with {volts:.2} V it has the highest voltage of \
        {candidates} power sensors, and converters usually bring the bank's voltage down";
}
