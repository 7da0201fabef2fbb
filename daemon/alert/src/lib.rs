//! Warns: carries what happened to webhooks, a command, an LED and the journal, and makes the
//! request to switch off.
//!
//! *Notification*: one thing that happened, in plain words and numbers. *Delivery*: a notification
//! on its way to one webhook. *Channel*: a webhook, a command or the LED. Nothing here decides what is worth a word;
//! nothing here asks the time. A slow or dead channel delays nobody: each has its own short queue.
//!
//! **Never a sound through the board's audio.** On a station for digital modes that output is
//! wired to the transmitter: a warning tone would go on the air, keyed or not, and could spoil a
//! contact or break the licence. Phones make the noise; the board blinks.

mod calendar;
mod command;
mod dispatcher;
mod led;
mod payload;
mod power;
mod queue;
mod response;
mod template;
#[cfg_attr(not(feature = "tls"), path = "no_tls.rs")]
mod tls;
mod webhook;

pub use command::{Command, CommandEnd};
pub use dispatcher::{ChannelTest, Dispatcher, Worker};
pub use led::{Lamp, Led, LedProblem};
pub use payload::Notification;
pub use power::{REQUEST, make_request, sync_card, take_request_back, unit_is_enabled};
pub use queue::{Attempt, Queue};
pub use response::{ResponseMeaning, judge};
pub use template::{Template, WORDS};
pub use webhook::{Webhook, plain_client};

use std::sync::Arc;

use reckon::time::Stamp;

/// Where the time comes from: handed in, since only one file of the program asks the system.
pub type Now = Arc<dyn Fn() -> Stamp + Send + Sync>;
