//! How warnings are delivered, and why one was not.

sentences! {
    program_without_path(program) = "{program} is not looked for: give its whole path, from the \
        root.";
    ended_with(code) = "it ended with {code}";
    ended_by_signal(signal) = "it was ended by signal {signal}";
    ENDED_SOMEHOW = "how it ended is not known";
    lost(text) = "a warning is lost: a command or web server is too far behind. {text}";
    not_all_saved(limit) = "not every command has saved within {limit} s";
    ACCEPTED = "It accepted the message.";
    CANNOT_JUST_NOW = "It answers, but cannot accept a message just now.";
    ended_well(printed) = "it ended normally{printed}";
    over_its_time(limit) = "it was stopped after {limit} s, its time limit";
    not_started(why) = "it could not be started: {why}";
    told(title, outcome) = "told {title} of a warning, and {outcome}";
    too_many_wait(title, text) = "too many warnings are waiting for {title}; this one is dropped: \
        {text}";
    delivered(title, tries) = "delivered to {title} after {tries} attempts";
    not_delivered(title, why, wait) = "a warning did not reach {title}: {why}. It is tried again \
        in {wait} s, then less and less often";
    given_up(title, why, text) = "a warning for {title} is dropped: {why}. It said: {text}";
    led_unusable(what, why) = "The LED {what} cannot be used: {why}. Warnings go out in the other \
        ways. Its files must be writable for the group outlast; the udev rule that comes with \
        outlast takes care of that";
    led_left(why) = "the LED stays as a crash left it: {why}";
    led_even(why) = "the LED blinks evenly: its delays cannot be set ({why})";
    NO_ENCRYPTION = "this outlast was built without encryption";
    SWITCHED_OFF = "The board is switched off.";
    SWITCHING_OFF = "The board is being switched off.";
    SAVE_NOW = "Anything not saved within the next seconds is lost.";
    A_TEST = "This is a test message.";
    NOTHING_TO_DO = "There is nothing to do.";
    queue_set_aside(why, aside) = "warnings that waited to be sent cannot be read ({why}); the \
        file is set aside as {aside}";
    queue_unreadable(file, why) = "warnings that waited to be sent cannot be read from {file}: \
        {why}";
    NOT_JUST_NOW = "it answered that it cannot just now";
    queue_not_kept(file, why) = "warnings that wait to be sent cannot be kept in {file}: {why}. \
        They are sent, but a restart would lose those that wait";
    MOVED = "so the address has moved; put the new one into the settings";
    REFUSED = "so it refused access; check the key in the settings";
    NOT_THERE = "so there is nothing at this address; check it in the settings";
    CANNOT_TAKE = "so it cannot take such a message at all";
    TOO_LONG = "so the message is too long for it; shorten the body in the settings";
    NOT_TAKEN = "so it does not accept this message; check the body in the settings";
    NO_STATUS = "which is not an HTTP status";
    FIELD_ID = "unique to each notification, and the same when it is sent again";
    FIELD_EVENT = "raised, changed, cleared, power_off_counting, power_off_called_off, saving, \
        test";
    FIELD_ABOUT = "what the alarm is about, such as running_out";
    FIELD_STATION = "the station's name";
    FIELD_OUTING = "the outing's name, or nothing";
    FIELD_BANK = "the bank's name, or nothing";
    FIELD_TEXT = "what is wrong, a sentence";
    FIELD_MEANING = "what it means, a sentence";
    FIELD_ADVICE = "what to do, a sentence";
    FIELD_AT = "date and time (RFC 3339), nothing while the clock cannot be trusted";
    FIELD_UPTIME = "seconds since the board was switched on";
    FIELD_CAUTIOUS = "seconds left, cautious";
    FIELD_MIDDLE = "seconds left, middle";
    FIELD_HOPEFUL = "seconds left, hopeful";
    FIELD_SWITCH_OFF = "seconds until the board switches off";
    not_json(why) = "filled in, it is not JSON: {why}.";
    not_certificates(why) = "it is not a list of certificates: {why}.";
    broken_certificate(why) = "it holds a certificate that is broken: {why}.";
    no_agreement(cause) = "the encryption cannot be agreed on ({cause})";
    not_yet_valid_unset(from, time) = "its certificate is valid from {from}, but this board's \
        clock, which has not been set, says {time}. Set the board's clock: from a network, a \
        satellite receiver or a phone";
    not_yet_valid(from, time) = "its certificate is valid only from {from}, and it is {time}: \
        either this board's clock or the server's certificate is wrong";
    expired_unset(until, time) = "its certificate expired on {until}, and this board's clock, \
        which has not been set, says {time}. Set the clock first; if it is right, the server needs \
        a new certificate";
    expired(until, time) = "its certificate expired on {until}, and it is {time}: the server needs \
        a new one";
    OTHER_NAME = "its certificate is for another name: correct the address in the settings, or the \
        certificate";
    NOT_BY_CA = "its certificate is not signed by what ca_file in the settings names";
    UNKNOWN_AUTHORITY = "its certificate is signed by an unknown authority; if the server is your \
        own, name its root certificate as ca_file in the settings";
    FOR_SIGNING = "its certificate is for signing others (CA:TRUE), not for a server: make one \
        with CA:FALSE";
    no_tls(why) = "encryption cannot be set up: {why}";
    bad_address(url, why) = "{url} is not a web address: {why}.";
    needs_encryption(url) = "{url} needs encryption, and this outlast was built without it. To \
        build it with: cargo build --release --features tls.";
    not_http(other) = "{other} is not http or https.";
    bad_header(name) = "{name} is not a header that can be sent.";
    TOO_SLOW = "it did not answer in time";
    UNREACHABLE = "it cannot be reached";
    BROKE_OFF = "the connection broke off";
    unknown_word(word, known) = "{{{word}}} is not known; these are: {known}.";
    not_accepted(other: &dyn core::fmt::Debug) = "its certificate is not accepted ({other:?})";
    NO_CERTIFICATE = "there is no certificate in it; it begins with -----BEGIN CERTIFICATE-----.";
}
