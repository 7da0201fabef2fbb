//! What is believed of the bank and the draw, and the remaining time that follows.
