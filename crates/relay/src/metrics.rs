//! Figures in Prometheus' text format. No ids and no addresses: only how much of what.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::sync::Mutex;
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};
use std::time::Duration;

use crate::feed::lock;

/// Upper bounds of the duration histogram, in seconds.
const BOUNDS: [f64; 10] = [0.001, 0.0025, 0.005, 0.01, 0.025, 0.1, 0.25, 1.0, 5.0, 30.0];

/// A number that only grows.
#[derive(Debug, Default)]
pub(crate) struct Counter(AtomicU64);

impl Counter {
    pub(crate) fn add(&self, number: u64) {
        self.0.fetch_add(number, Ordering::Relaxed);
    }
}

/// A number of things that are there now.
#[derive(Debug, Default)]
pub(crate) struct Gauge(AtomicI64);

impl Gauge {
    pub(crate) fn add(&self, number: i64) {
        self.0.fetch_add(number, Ordering::Relaxed);
    }

    pub(crate) fn get(&self) -> i64 {
        self.0.load(Ordering::Relaxed)
    }
}

/// One more of a gauge for as long as this is kept.
pub(crate) struct Counted<M: AsRef<Metrics>> {
    metrics: M,
    gauge: fn(&Metrics) -> &Gauge,
}

impl<M: AsRef<Metrics>> Counted<M> {
    pub(crate) fn new(metrics: M, gauge: fn(&Metrics) -> &Gauge) -> Self {
        gauge(metrics.as_ref()).add(1);
        Self { metrics, gauge }
    }
}

impl<M: AsRef<Metrics>> Drop for Counted<M> {
    fn drop(&mut self) {
        (self.gauge)(self.metrics.as_ref()).add(-1);
    }
}

/// Everything that is counted.
#[derive(Debug, Default)]
pub(crate) struct Metrics {
    requests: Mutex<BTreeMap<(&'static str, &'static str, u16), u64>>,
    durations: [AtomicU64; BOUNDS.len() + 1],
    microseconds: AtomicU64,
    pub appended: Counter,
    pub repeated: Counter,
    pub bytes_in: Counter,
    pub bytes_out: Counter,
    pub snapshots: Counter,
    pub messages: Counter,
    pub turned_away: Counter,
    pub unavailable: Counter,
    pub connections: Gauge,
    pub sockets: Gauge,
    pub watches: Gauge,
}

impl Metrics {
    /// Counts a request. Route and method are of a fixed set, so the table stays small.
    pub(crate) fn request(&self, route: &'static str, method: &'static str, status: u16, took: Duration) {
        *lock(&self.requests).entry((route, method, status)).or_default() += 1;
        let seconds = took.as_secs_f64();
        let slot = BOUNDS.iter().position(|bound| seconds <= *bound).unwrap_or(BOUNDS.len());
        if let Some(bucket) = self.durations.get(slot) {
            bucket.fetch_add(1, Ordering::Relaxed);
        }
        let micros = u64::try_from(took.as_micros()).unwrap_or(u64::MAX);
        self.microseconds.fetch_add(micros, Ordering::Relaxed);
    }

    /// The page for `/metrics`.
    pub(crate) fn page(&self) -> String {
        let mut page = String::new();
        self.write_requests(&mut page);
        self.write_durations(&mut page);
        let counters: [(&str, &str, &Counter); 8] = [
            ("entries_appended_total", "Entries that were new.", &self.appended),
            ("entries_repeated_total", "Entries that were there already.", &self.repeated),
            ("sealed_bytes_in_total", "Sealed bytes stored.", &self.bytes_in),
            ("sealed_bytes_out_total", "Sealed bytes read.", &self.bytes_out),
            ("snapshots_total", "Snapshots taken.", &self.snapshots),
            ("messages_total", "Messages to sockets about heads.", &self.messages),
            ("turned_away_total", "Requests, watches and connections beyond an address's share.", &self.turned_away),
            ("store_unavailable_total", "Requests that the store could not answer.", &self.unavailable),
        ];
        for (name, help, counter) in counters {
            family(&mut page, name, help, "counter");
            let _ = writeln!(page, "trug_relay_{name} {}", counter.0.load(Ordering::Relaxed));
        }
        let gauges: [(&str, &str, &Gauge); 3] = [
            ("connections", "Connections open now.", &self.connections),
            ("sockets", "WebSockets open now.", &self.sockets),
            ("watches", "Logs watched now, for each socket.", &self.watches),
        ];
        for (name, help, gauge) in gauges {
            family(&mut page, name, help, "gauge");
            let _ = writeln!(page, "trug_relay_{name} {}", gauge.get());
        }
        page
    }

    fn write_requests(&self, page: &mut String) {
        family(page, "requests_total", "Requests answered.", "counter");
        for ((route, method, status), number) in lock(&self.requests).iter() {
            let labels = format!("route=\"{route}\",method=\"{method}\",status=\"{status}\"");
            let _ = writeln!(page, "trug_relay_requests_total{{{labels}}} {number}");
        }
    }

    fn write_durations(&self, page: &mut String) {
        family(page, "request_seconds", "Time until a request was answered.", "histogram");
        let mut sum = 0;
        let bounds = BOUNDS.iter().map(ToString::to_string).chain(["+Inf".to_owned()]);
        for (bound, bucket) in bounds.zip(&self.durations) {
            sum += bucket.load(Ordering::Relaxed);
            let _ = writeln!(page, "trug_relay_request_seconds_bucket{{le=\"{bound}\"}} {sum}");
        }
        let seconds = self.microseconds.load(Ordering::Relaxed) as f64 / 1e6;
        let _ = writeln!(page, "trug_relay_request_seconds_sum {seconds}\ntrug_relay_request_seconds_count {sum}");
    }
}

fn family(page: &mut String, name: &str, help: &str, kind: &str) {
    let _ = writeln!(page, "# HELP trug_relay_{name} {help}\n# TYPE trug_relay_{name} {kind}");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_page_is_prometheus_text() {
        let metrics = Metrics::default();
        metrics.request("/v1/logs/{log}", "PUT", 201, Duration::from_millis(3));
        metrics.request("/v1/logs/{log}", "PUT", 201, Duration::from_secs(60));
        let page = metrics.page();
        for line in [
            "trug_relay_requests_total{route=\"/v1/logs/{log}\",method=\"PUT\",status=\"201\"} 2",
            "trug_relay_request_seconds_bucket{le=\"0.0025\"} 0",
            "trug_relay_request_seconds_bucket{le=\"0.005\"} 1",
            "trug_relay_request_seconds_bucket{le=\"+Inf\"} 2",
            "trug_relay_request_seconds_count 2",
            "# TYPE trug_relay_watches gauge",
        ] {
            assert!(page.lines().any(|other| other == line), "{line}\n{page}");
        }
    }
}
