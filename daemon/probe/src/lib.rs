//! Reads the board.
