//! The seats at the pages: how many connections there may be, and which of them goes when somebody
//! comes and none is free. Nobody who comes is turned away.
//!
//! R1: where all seats are taken, the idlest connection of the group with the most of them is
//! closed. Whoever sits on many seats therefore loses them one by one, however busy each is kept.
//! R2: some seats are kept for addresses that lately showed the ticket of a paired phone: the phone
//! that must stop a countdown has not to push past anybody.
//! R3: nobody's share is more than a quarter; one more from there closes the idlest of that share.
//!
//! Idle is counted in what the others did meanwhile, not in seconds: the idlest is the one whose
//! last byte, in or out, is the longest ago.

use std::{
    cmp::Reverse,
    collections::{HashMap, VecDeque},
    net::IpAddr,
    sync::{
        Arc, Mutex, MutexGuard, PoisonError,
        atomic::{AtomicU64, Ordering},
    },
};

use tokio::sync::oneshot;
use web::Group;

/// Seats that two phones can fill: a browser opens six connections at most to one host (common
/// practice, no source), and the operator may have a second phone. Of few seats, a quarter.
const KEPT: usize = 12;
/// Upper limit of seats of one group, besides a quarter of all: two browsers behind one address, and
/// programs. The loopback address is not exempt: behind a tunnel or proxy sits everybody.
const OF_ONE_GROUP: usize = 16;
/// Addresses that are remembered for the ticket they showed: more than there are tickets would only
/// keep those that phones had on earlier days.
const KNOWN: usize = web::MOST_PHONES;

/// All seats of one door.
#[derive(Clone)]
pub(super) struct Seats(Arc<Mutex<Table>>);

struct Table {
    in_all: usize,
    taken: HashMap<u64, Taken>,
    /// Addresses that showed a ticket, the latest last.
    known: VecDeque<IpAddr>,
    count: u64,
    stirred: Arc<AtomicU64>,
}

/// A seat that is taken.
struct Taken {
    from: Option<IpAddr>,
    group: Group,
    stir: Stir,
    /// Dropped to show the connection out.
    _stays: oneshot::Sender<()>,
}

/// When a connection last did something: the count of what all of them did until then.
#[derive(Clone)]
pub(super) struct Stir {
    last: Arc<AtomicU64>,
    all: Arc<AtomicU64>,
}

impl Stir {
    /// It does something now.
    pub(super) fn stir(&self) {
        self.last.store(self.all.fetch_add(1, Ordering::Relaxed), Ordering::Relaxed);
    }
}

/// A connection's seat, given back when it is dropped.
pub(super) struct Seat {
    seats: Seats,
    number: u64,
    told_to_go: oneshot::Receiver<()>,
}

impl Seats {
    pub(super) fn new(in_all: usize) -> Self {
        let (taken, known, stirred) = (HashMap::new(), VecDeque::new(), Arc::default());
        Self(Arc::new(Mutex::new(Table { in_all, taken, known, count: 0, stirred })))
    }

    /// A seat for somebody from this address, or from the Unix socket; whoever has to go for it is
    /// told.
    pub(super) fn take(&self, from: Option<IpAddr>) -> (Seat, Stir) {
        let (stays, told_to_go) = oneshot::channel();
        let (number, stir) = self.table().take(from.map(|it| it.to_canonical()), stays);
        (Seat { seats: self.clone(), number, told_to_go }, stir)
    }

    /// A ticket came from this address.
    pub(super) fn know(&self, from: IpAddr) {
        self.table().know(from.to_canonical());
    }

    fn table(&self) -> MutexGuard<'_, Table> {
        // Every change is made in one go, so that a panic elsewhere leaves none half made.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Seat {
    /// Waits until somebody else needs it.
    pub(super) async fn is_needed(&mut self) {
        // Nothing is ever sent: the other end is dropped.
        let _ = (&mut self.told_to_go).await;
    }
}

impl Drop for Seat {
    fn drop(&mut self) {
        self.seats.table().taken.remove(&self.number);
    }
}

impl Table {
    fn take(&mut self, from: Option<IpAddr>, stays: oneshot::Sender<()>) -> (u64, Stir) {
        let group = Group::of(from);
        if let Some(number) = self.in_the_way(from, group) {
            self.taken.remove(&number);
        }
        let stir = Stir { last: Arc::default(), all: Arc::clone(&self.stirred) };
        stir.stir();
        self.count += 1;
        self.taken.insert(self.count, Taken { from, group, stir: stir.clone(), _stays: stays });
        (self.count, stir)
    }

    /// Who has to go before somebody from there can sit down; nobody while there is room.
    fn in_the_way(&self, from: Option<IpAddr>, group: Group) -> Option<u64> {
        let strangers = self.taken.values().filter(|it| !self.is_known(it.from)).count();
        let here = self.taken.values().filter(|it| it.group == group).count();
        let quarter = self.in_all / 4;
        let kept = KEPT.min(quarter);
        if group != Group::Socket && here >= OF_ONE_GROUP.min(quarter).max(2) {
            let mine = |it: &Taken| it.group == group;
            self.first_to_go(|it| mine(it) && !self.is_known(it.from))
                .or_else(|| self.first_to_go(mine))
        } else if self.taken.len() >= self.in_all {
            self.first_to_go(|it| !self.is_known(it.from)).or_else(|| self.first_to_go(|_| true))
        } else if !self.is_known(from) && strangers >= self.in_all - kept {
            self.first_to_go(|it| !self.is_known(it.from))
        } else {
            None
        }
    }

    /// Of these: of the group with the most seats, in it of the address with the most, the idlest.
    fn first_to_go(&self, of: impl Fn(&Taken) -> bool) -> Option<u64> {
        let (mut of_group, mut of_address) = (HashMap::new(), HashMap::new());
        for it in self.taken.values() {
            *of_group.entry(it.group).or_insert(0_usize) += 1;
            *of_address.entry(it.from).or_insert(0_usize) += 1;
        }
        let weight = |it: &Taken| {
            let last = it.stir.last.load(Ordering::Relaxed);
            (of_group.get(&it.group).copied(), of_address.get(&it.from).copied(), Reverse(last))
        };
        let those = self.taken.iter().filter(|(_, it)| of(it));
        those.max_by_key(|(_, it)| weight(it)).map(|(number, _)| *number)
    }

    /// Whoever may open the socket needs no ticket.
    fn is_known(&self, from: Option<IpAddr>) -> bool {
        from.is_none_or(|from| self.known.contains(&from))
    }

    fn know(&mut self, from: IpAddr) {
        if self.known.back() == Some(&from) {
            return;
        }
        self.known.retain(|it| *it != from);
        self.known.push_back(from);
        if self.known.len() > KNOWN {
            self.known.pop_front();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn v4(last: u8) -> Option<IpAddr> {
        // RFC 5737: addresses for documentation.
        Some(IpAddr::from([192, 0, 2, last]))
    }

    fn stays(seat: &mut Seat) -> bool {
        matches!(seat.told_to_go.try_recv(), Err(oneshot::error::TryRecvError::Empty))
    }

    fn staying(seats: &mut [(Seat, Stir)]) -> usize {
        seats.iter_mut().filter_map(|(seat, _)| stays(seat).then_some(())).count()
    }

    /// So many seats each for these addresses.
    fn sit(
        seats: &Seats,
        from: impl Iterator<Item = Option<IpAddr>>,
        each: usize,
    ) -> Vec<(Seat, Stir)> {
        from.flat_map(|from| std::iter::repeat_n(from, each)).map(|from| seats.take(from)).collect()
    }

    #[test]
    fn whoever_sits_on_many_seats_makes_room_for_somebody_new() {
        let seats = Seats::new(64);
        let mut crowd = sit(&seats, (1..=4).map(v4), 16);
        // All of them were busy just now.
        crowd.iter().for_each(|(_, stir)| stir.stir());
        let phone: Vec<_> = (0..6).map(|_| seats.take(v4(9))).collect();
        assert!(phone.into_iter().all(|(mut seat, _)| stays(&mut seat)));
        // 12 of 64 are kept: 52 strangers, six of them the phone's.
        assert_eq!(staying(&mut crowd), 46);
    }

    #[test]
    fn the_idlest_goes_and_is_the_one_that_did_nothing_for_longest() {
        let seats = Seats::new(8);
        let mut all = sit(&seats, (1..=3).map(v4), 2);
        for ix in [0, 2, 4, 5, 3] {
            all[ix].1.stir();
        }
        let _new = seats.take(v4(9));
        assert!(!stays(&mut all[1].0));
        assert_eq!(staying(&mut all), 5);
    }

    #[test]
    fn kept_seats_are_for_addresses_that_showed_a_ticket() {
        let seats = Seats::new(64);
        let phone = v4(200).unwrap();
        let mut crowd = sit(&seats, (1..=60).map(v4), 1);
        assert_eq!(staying(&mut crowd), 52);
        seats.know(phone);
        let mut mine = sit(&seats, std::iter::once(Some(phone)), 6);
        assert_eq!((staying(&mut crowd), staying(&mut mine)), (52, 6));
        // The crowd comes again and again; the phone, silent all the while, keeps its seats.
        let mut again = sit(&seats, (61..=160).map(v4), 3);
        assert_eq!((staying(&mut crowd), staying(&mut mine)), (0, 6));
        assert_eq!(staying(&mut again), 52);
    }

    #[test]
    fn a_group_has_its_share_and_one_more_closes_its_own_idlest() {
        let seats = Seats::new(64);
        let address = |host: u16| Some(IpAddr::from([0x2001, 0xdb8, 0, 7, 0, 0, 0, host]));
        let mut quiet = seats.take(address(0));
        seats.know(address(0).unwrap());
        // RFC 3849: one /64, each time another address.
        let mut crowd = sit(&seats, (1..=64).map(address), 1);
        assert_eq!(staying(&mut crowd), 15);
        assert!(stays(&mut quiet.0), "the one with the ticket sits among them");
        let mut other = seats.take(v4(1));
        assert!(stays(&mut other.0));
    }

    #[test]
    fn few_seats_and_the_socket_turn_nobody_away_either() {
        let few = Seats::new(4);
        let mut idle = sit(&few, (2..6).map(v4), 1);
        assert_eq!(staying(&mut idle), 3);
        assert!(stays(&mut few.take(v4(9)).0));
        let socket = Seats::new(16);
        let mut own = sit(&socket, std::iter::once(None), 17);
        assert_eq!(staying(&mut own), 16);
        own.clear();
        assert!(socket.table().taken.is_empty(), "the seats are given back");
    }

    #[test]
    fn only_the_latest_addresses_are_remembered() {
        let seats = Seats::new(64);
        (1..=40).chain([9]).for_each(|last| seats.know(v4(last).unwrap()));
        let table = seats.table();
        assert_eq!(table.known.len(), KNOWN);
        assert!(!table.is_known(v4(8)) && table.is_known(v4(9)) && table.is_known(v4(40)));
    }
}
