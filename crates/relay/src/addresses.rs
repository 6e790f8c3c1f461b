//! Who is asking, and whether that address has had its share.

use std::collections::HashMap;
use std::net::{IpAddr, Ipv6Addr, SocketAddr};
use std::sync::Mutex;
use std::time::{Duration, Instant};

use axum::http::HeaderMap;

use crate::config::{Config, Network};
use crate::feed::lock;

/// Addresses kept track of at once. Beyond them, newcomers share one account until others fall silent.
const TRACKED: usize = 65_536;

/// How long after one search for the silent the next may be: each looks at every account.
const SWEEP_PAUSE: Duration = Duration::from_secs(10);

/// What an address may only have so much of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Share {
    Requests,
    Logs,
}

/// An allowance that fills up again steadily: up to a whole period's worth at once.
#[derive(Debug, Clone, Copy)]
struct Bucket {
    left: f64,
    at: Instant,
}

#[derive(Debug, Clone, Copy)]
struct Rate {
    most: f64,
    per_second: f64,
}

impl Rate {
    /// `None` for no limit.
    fn new(most: u64, period: Duration) -> Option<Self> {
        let most = most as f64;
        (most > 0.0).then(|| Self { most, per_second: most / period.as_secs_f64() })
    }

    fn filled(&self, bucket: &Bucket, now: Instant) -> f64 {
        let since = now.saturating_duration_since(bucket.at).as_secs_f64();
        (bucket.left + since * self.per_second).min(self.most)
    }

    /// Takes one; the seconds to wait when there is none.
    fn take(&self, bucket: &mut Bucket, now: Instant) -> Result<(), u64> {
        let left = self.filled(bucket, now);
        let enough = left >= 1.0;
        *bucket = Bucket { left: if enough { left - 1.0 } else { left }, at: now };
        if enough { Ok(()) } else { Err(((1.0 - left) / self.per_second).ceil() as u64) }
    }
}

#[derive(Debug, Default)]
struct Account {
    requests: Option<Bucket>,
    logs: Option<Bucket>,
    connections: u64,
}

/// The accounts of every address that asked lately.
#[derive(Debug)]
pub(crate) struct Addresses {
    trusted: Vec<Network>,
    exempt: Vec<Network>,
    requests: Option<Rate>,
    logs: Option<Rate>,
    connections: u64,
    accounts: Mutex<Accounts>,
}

#[derive(Debug, Default)]
struct Accounts {
    all: HashMap<IpAddr, Account>,
    swept: Option<Instant>,
}

impl Addresses {
    pub(crate) fn new(config: &Config) -> Self {
        Self {
            trusted: config.trusted_proxies.clone(),
            exempt: config.exempt.clone(),
            requests: Rate::new(config.limits.requests_per_minute, Duration::from_secs(60)),
            logs: Rate::new(config.limits.logs_per_hour, Duration::from_secs(3600)),
            connections: config.limits.connections_per_address,
            accounts: Mutex::default(),
        }
    }

    /// Who asks: the peer, or, where the peer is a trusted proxy, the last address in `X-Forwarded-For` that is not
    /// one. What stands before that may be anybody's invention.
    pub(crate) fn client(&self, peer: IpAddr, headers: &HeaderMap) -> IpAddr {
        let mut client = peer.to_canonical();
        if !self.trusts(client) {
            return client;
        }
        let lines: Vec<&str> =
            headers.get_all("x-forwarded-for").iter().filter_map(|line| line.to_str().ok()).collect();
        for hop in lines.iter().rev().flat_map(|line| line.rsplit(',')) {
            let Some(hop) = parse_hop(hop.trim()) else { break };
            client = hop;
            if !self.trusts(client) {
                break;
            }
        }
        client
    }

    pub(crate) fn trusts(&self, address: IpAddr) -> bool {
        self.trusted.iter().any(|network| network.contains(address))
    }

    fn exempts(&self, address: IpAddr) -> bool {
        self.exempt.iter().any(|network| network.contains(address))
    }

    /// Takes one of an address's share.
    ///
    /// # Errors
    /// The seconds to wait.
    pub(crate) fn take(&self, client: IpAddr, share: Share, now: Instant) -> Result<(), u64> {
        let rate = match share {
            Share::Requests => self.requests,
            Share::Logs => self.logs,
        };
        let Some(rate) = rate.filter(|_| !self.exempts(client)) else { return Ok(()) };
        self.account(client, now, |account| {
            let bucket = match share {
                Share::Requests => &mut account.requests,
                Share::Logs => &mut account.logs,
            };
            rate.take(bucket.get_or_insert(Bucket { left: rate.most, at: now }), now)
        })
    }

    /// Counts a connection in, unless the address holds as many as it may. A trusted proxy's are not counted.
    pub(crate) fn connect(&self, peer: IpAddr) -> bool {
        self.uncounted(peer)
            || self.account(peer, Instant::now(), |account| {
                let room = account.connections < self.connections;
                account.connections += u64::from(room);
                room
            })
    }

    /// Counts a connection out that was counted in.
    pub(crate) fn disconnect(&self, peer: IpAddr) {
        if !self.uncounted(peer) {
            self.account(peer, Instant::now(), |account| account.connections = account.connections.saturating_sub(1));
        }
    }

    fn uncounted(&self, peer: IpAddr) -> bool {
        self.connections == 0 || self.trusts(peer) || self.exempts(peer)
    }

    fn account<T>(&self, client: IpAddr, now: Instant, act: impl FnOnce(&mut Account) -> T) -> T {
        let mut accounts = lock(&self.accounts);
        let mut key = site(client);
        if accounts.all.len() >= TRACKED && !accounts.all.contains_key(&key) {
            if accounts.swept.is_none_or(|swept| now.saturating_duration_since(swept) >= SWEEP_PAUSE) {
                accounts.swept = Some(now);
                accounts.all.retain(|_, account| !self.idle(account, now));
            }
            if accounts.all.len() >= TRACKED {
                key = Ipv6Addr::UNSPECIFIED.into();
            }
        }
        act(accounts.all.entry(key).or_default())
    }

    /// Whether forgetting an account changes nothing.
    fn idle(&self, account: &Account, now: Instant) -> bool {
        let full = |rate: Option<Rate>, bucket: Option<Bucket>| match (rate, bucket) {
            (Some(rate), Some(bucket)) => rate.filled(&bucket, now) >= rate.most,
            _ => true,
        };
        account.connections == 0 && full(self.requests, account.requests) && full(self.logs, account.logs)
    }
}

fn parse_hop(hop: &str) -> Option<IpAddr> {
    let bare = hop.trim_start_matches('[').trim_end_matches(']');
    bare.parse().ok().or_else(|| hop.parse::<SocketAddr>().ok().map(|hop| hop.ip())).map(|ip| ip.to_canonical())
}

/// What counts as one: an IPv4 address, or an IPv6 network of 64 bits, of which one host has all the addresses.
fn site(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(address) => IpAddr::V6(Ipv6Addr::from_bits(address.to_bits() & (u128::MAX << 64))),
        v4 => v4,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::HeaderValue;

    fn addresses(set: impl FnOnce(&mut Config)) -> Addresses {
        let mut config = Config { exempt: vec![], ..Config::default() };
        set(&mut config);
        Addresses::new(&config)
    }

    fn ip(text: &str) -> IpAddr {
        text.parse().expect("an address")
    }

    #[test]
    fn only_trusted_proxies_are_believed() {
        let addresses = addresses(|config| {
            config.trusted_proxies = ["127.0.0.1", "10.0.0.0/8"].map(|text| text.parse().expect("a network")).into();
        });
        let cases: &[(&str, &[&str], &str)] = &[
            ("203.0.113.9", &["198.51.100.1"], "203.0.113.9"),
            ("127.0.0.1", &[], "127.0.0.1"),
            ("127.0.0.1", &["198.51.100.1"], "198.51.100.1"),
            ("::ffff:127.0.0.1", &["198.51.100.1"], "198.51.100.1"),
            ("127.0.0.1", &["1.1.1.1, 198.51.100.1, 10.2.3.4"], "198.51.100.1"),
            ("127.0.0.1", &["1.1.1.1", "198.51.100.1"], "198.51.100.1"),
            ("127.0.0.1", &["198.51.100.1, nonsense"], "127.0.0.1"),
            ("127.0.0.1", &["198.51.100.1:4711"], "198.51.100.1"),
            ("127.0.0.1", &["[2001:db8::1]:80"], "2001:db8::1"),
            ("127.0.0.1", &["[2001:db8::1]"], "2001:db8::1"),
        ];
        for (peer, lines, expected) in cases {
            let mut headers = HeaderMap::new();
            for line in *lines {
                headers.append("x-forwarded-for", HeaderValue::from_str(line).expect("a header"));
            }
            assert_eq!(addresses.client(ip(peer), &headers), ip(expected), "{peer} {lines:?}");
        }
    }

    #[test]
    fn a_share_runs_out_and_fills_up_again() {
        let addresses = addresses(|config| config.limits.requests_per_minute = 60);
        let (start, client) = (Instant::now(), ip("203.0.113.9"));
        for _ in 0..60 {
            assert_eq!(addresses.take(client, Share::Requests, start), Ok(()));
        }
        assert_eq!(addresses.take(client, Share::Requests, start), Err(1));
        assert_eq!(addresses.take(ip("203.0.113.8"), Share::Requests, start), Ok(()), "each address by itself");
        assert_eq!(addresses.take(client, Share::Logs, start), Ok(()), "each share by itself");
        let later = start + Duration::from_secs(2);
        let taken = (0..9).filter(|_| addresses.take(client, Share::Requests, later).is_ok()).count();
        assert_eq!(taken, 2, "one a second");
    }

    #[test]
    fn one_host_cannot_be_many() {
        let addresses = addresses(|config| config.limits.logs_per_hour = 1);
        let now = Instant::now();
        assert_eq!(addresses.take(ip("2001:db8::1"), Share::Logs, now), Ok(()));
        assert!(addresses.take(ip("2001:db8::ffff"), Share::Logs, now).is_err());
        assert_eq!(addresses.take(ip("2001:db8:0:1::1"), Share::Logs, now), Ok(()));
    }

    #[test]
    fn memory_is_bounded() {
        let addresses = addresses(|_| ());
        let now = Instant::now();
        for number in 0..(TRACKED as u32 + 5000) {
            let _ = addresses.take(IpAddr::V4(number.into()), Share::Requests, now);
        }
        assert!(lock(&addresses.accounts).all.len() <= TRACKED + 1);
        let later = now + Duration::from_secs(3600);
        let _ = addresses.take(ip("255.255.255.255"), Share::Requests, later);
        assert!(lock(&addresses.accounts).all.len() < 10, "the silent are forgotten");
    }

    #[test]
    fn connections_are_counted_out_again() {
        let addresses = addresses(|config| config.limits.connections_per_address = 2);
        let client = ip("203.0.113.9");
        assert_eq!([(); 3].map(|()| addresses.connect(client)), [true, true, false]);
        addresses.disconnect(client);
        assert!(addresses.connect(client));
    }
}
