//! The long notes of pages.

use crate::words::Notes;

/// The long notes of pages.
pub(super) const NOTES: Notes = Notes {
    warnings: "Now shows them first. While it is open and this phone's screen is on, a new one \
               also vibrates and sounds, once you have tapped the page. With the screen off, or \
               another app in front, the phone stays silent. An on-board LED, a command or a \
               webhook in the settings can warn you then, and the record keeps every alarm.",
    care: [
        "A forecast is no promise. Where someone depends on the radio, carry a second bank.",
        "Put a fuse close to every pack, sized for the thinnest wire behind it. A shorted pack \
         melts wire and starts fires.",
        "Do not charge lithium cells below 0 °C, do not use swollen, dented or wet ones, and keep \
         all of them out of the sun. LiFePO4 packs and lead-acid have limits of their own: follow \
         the maker's sheet.",
        "Check polarity before the sensor and before the radio. Disconnect the bank before you \
         change wires.",
        "Keep people away from the antenna while you transmit, and keep within your licence and \
         the local exposure limits.",
    ],
    run_down: "This board discharges a full bank until it cuts out. The record survives that. At \
               the next start the run-down counts for the bank, and every later forecast is \
               sharper.",
    before_run_down: [
        "The board will not switch itself off: it stops when the bank does. Finish other work, and \
         let nothing write to the card that you cannot afford to lose.",
        "Charge the bank full with its own charger and let it cool down. Nothing must charge it \
         during the test.",
        "Stay near. Put it on something that does not burn, in the shade, not in a bag. Lithium \
         cells that grow hot, swell or smell: disconnect, carry it outside if that is safe, keep \
         away.",
        "Do not use a swollen, dented or wet bank, and none whose protection you do not trust. \
         Keep the fuse in place.",
        "Lead-acid is harmed by being emptied: stop such a test at the maker's lowest voltage. \
         Charge every bank again soon afterwards.",
    ],
    list: "Have you run this bank down before, with a script that noted the time at a regular \
           interval? That list counts as a run-down, from full until the bank cut out, to within \
           one interval.",
    times: "A time may look like 2024-03-09T08:00:00Z or 2024-03-09 08:00:00, or be seconds since \
            1970. The rest of a line is ignored.",
    report: "The report can be printed. It names no station you worked; your marks appear as you \
             wrote them. Close-ups are the volts and watts of every second around an event, as CSV.",
    counted: "Later forecasts for this bank learn from it. If something went wrong, do not count \
              it.",
    goes_on: "It ran on the bank that is connected now. If that was not charged since, the outing \
              goes on, and what the bank delivered then counts in the forecast.",
    forget: "It is no longer offered. Its outings and run-downs stay in the record, and you can \
             offer it again later.",
};
