//! How a page looks.

sentences! {
    AS_THE_PHONE = "As the phone prefers";
    PAPER = "Paper, for the sun";
    NIGHT = "Night, red on black";
}
