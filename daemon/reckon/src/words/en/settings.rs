//! What the settings want, and what is wrong with them.

use super::refusal::name_fault;
use crate::name::NameFault;

sentences! {
    unreadable(path, why) = "The settings file {path} cannot be read: {why}.\nNothing was started, \
        because a forecast without your settings would be confidently wrong. Check the path and \
        its permissions, or start without --settings.";
    NOT_STARTED = "Nothing was started. The settings file that comes with outlast explains every \
        key with its range.";
    STATION = "It is what the page calls this station.";
    ACTIVITIES = "These become the buttons of the page.";
    CONNECTIONS = "Each phone needs about two.";
    HOSTS = "The board's own names pass by themselves.";
    SET_CLOCK = "It lets a tap on a paired phone set the clock of this board.";
    LISTEN = "an address and a port in quotes, such as \"0.0.0.0:8073\". Address 0.0.0.0 serves \
        every network of the board, 127.0.0.1 only itself.";
    BOARD = "the board's short name, such as \"4B\", \"Zero 2 W\" or \"3B+\". It is printed on the \
        board; leave the key out to have it found.";
    START = "\"full\", \"unknown\" or a share such as \"70 %\". It is how full the bank is when \
        outlast starts with it.";
    IDLE_W = "The board with nothing to do.";
    FULL_W = "The board with every core busy.";
    busy_draws_more(idle) = "a busy board draws no less than an idle one ({idle} W).";
    IDLE_AND_FULL = "idle_w and full_w are only used together.";
    RADIO = "The radio's data sheet prints it.";
    RADIO_V = "Data sheets assume 13.8 V.";
    EVERY_S = "A power cut loses at most this much of the record.";
    NEAR_MIN = "It is the cautious remaining time.";
    FINE_DAYS = "After that five-minute rows remain.";
    MOST_MIB = "Near it the page warns; outings are never removed.";
    WATCH = "a whole path in quotes, from the root, such as \"/srv/log/contacts.adi\".";
    KEEP_CALLS = "The other stations' calls are other people's data.";
    ACCESSORY_NAME = "It is what the page calls it.";
    ACCESSORY_W = "What it draws from the bank.";
    ACCESSORY_MISSING = "it is missing; without it the accessory counts for nothing.";
    SENSOR = "`outlast check` prints the identity of every sensor.";
    SENSOR_MISSING = "it is missing: which sensor is meant? `outlast check` prints the identity of \
        every sensor.";
    SENSOR_NAME = "It is what the page calls the sensor.";
    ROLE = "\"bank\" counts towards what the bank delivers.";
    SHUNT_OHM = "It is printed on the resistor: R100 is 0.1, R010 is 0.01.";
    SCALE = "Every current is multiplied by it.";
    SCALE_ZERO = "0 would make every current zero. A negative number turns the sign.";
    CHIP = "Only for a chip read directly, where no driver is bound.";
    TIME_OF_DAY = "a time of day in quotes, such as \"08:00\". It is local time.";
    RULE_ACTIVITY = "It is one of the names in `activities`.";
    no_such_activity(known) = "there is no such activity. There are: {known}.";
    RULE_ACTIVITY_MISSING = "it is missing: which activity is chosen?";
    PROGRAM = "A word in the name of a program, as `outlast check` has it.";
    BUSY_ABOVE = "1 is one core busy all the time.";
    PROGRAM_MISSING = "which program? It is only used with `program`.";
    FROM_AND_TO = "from and to are only used together.";
    RULE_EMPTY = "it is missing, and so are from and to: when is the activity chosen?";
    SAME_TIME = "it is the same as from, which leaves no time at all.";
    not_toml(message) = "this is not TOML: {message}.";
    want_whole(low, high, hint) = "want a whole number from {low} to {high}. {hint}";
    want_bool(hint) = "want true or false. {hint}";
    want_whole_list(most, low, high, hint) = "want a list of at most {most} whole numbers, each \
        {low} to {high}. {hint}";
    want_text(hint) = "want a text in quotes. {hint}";
    bad_name(fault: NameFault, hint) = "{} {hint}", name_fault("This name", fault);
    want_texts(most, hint) = "want a list of at most {most} different texts, each one plain line \
        of 1 to 64 characters. {hint}";
    want_table(key) = "want a table that begins with [{key}].";
    want_tables(most, key) = "want at most {most} tables, each begun with [[{key}]].";
    did_you_mean(near) = "no such key. Did you mean `{near}`?";
    no_such_key(known) = "no such key. Keys that can be used here: {known}.";
    LIMITS = "The cautious remaining time is compared with these.";
    AUTO_OFF = "0 switches this alarm off.";
    TIMED = "They mark modes whose periods need a clock.";
    LED = "the name of an on-board LED, such as \"ACT\". `outlast check` prints them.";
    BELOW_MIN = "0 leaves the board on.";
    COUNTDOWN = "A paired phone can stop it for this long.";
    WITHOUT_SENSOR = "true also where no sensor measures the draw.";
    URL = "an address in quotes, such as \"http://192.0.2.7:8080/warn\".";
    BODY = "a text in quotes, at most 4000 characters.";
    JSON = "false where the body is plain text.";
    HEADERS = "Each looks like \"Name: value\".";
    LIMIT_S = "How long it may take to answer.";
    CA_FILE = "the whole path of a file of certificates (PEM).";
    WANT_HEADERS = "want texts that look like \"Name: value\".";
    URL_MISSING = "it is missing: where is the warning to go?";
    file_unreadable(why) = "it cannot be read: {why}.";
    PROGRAM_PATH = "the whole path of a program, from the root.";
    ARGUMENTS = "They are passed on as they are.";
    COMMAND_LIMIT = "Then it is stopped.";
    COMMAND_MISSING = "it is missing: what is to be run?";
    want_more_than(low, high, space, unit) = "want more than {low} and at most {high}{space}{unit}";
}
