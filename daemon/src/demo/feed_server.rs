//! A real HTTP feed on loopback that serves the recorded station as it was known on a given day.

use std::net::SocketAddr;
use std::sync::{Arc, Mutex, PoisonError};

use axum::extract::{Query, State};
use axum::http::header::CONTENT_TYPE;
use axum::response::IntoResponse;
use axum::{Router, routing};
use chrono::NaiveDate;
use duskflight_core::weather::ReceivedDay;
use serde::Deserialize;
use serde_json::{Map, Value, json};
use tokio::net::TcpListener;
use tokio::task::JoinHandle;

use super::farm::as_known_on;

/// The station's id in the archive.
pub(super) const STATION: &str = "USW00023257";
/// The path of the service.
const PATH: &str = "/daily-summaries";

/// A running feed.
pub(super) struct FeedServer {
    address: SocketAddr,
    world: Arc<World>,
    server: JoinHandle<std::io::Result<()>>,
}

struct World {
    record: Vec<ReceivedDay>,
    year: i32,
    /// The days as known today; swapped when the day turns.
    known: Mutex<Vec<ReceivedDay>>,
}

impl FeedServer {
    /// Listens on a free port of the loopback address.
    pub(super) async fn start(record: Vec<ReceivedDay>, year: i32) -> std::io::Result<Self> {
        let listener = TcpListener::bind(("127.0.0.1", 0)).await?;
        let address = listener.local_addr()?;
        let world = Arc::new(World {
            record,
            year,
            known: Mutex::default(),
        });
        let router = Router::new()
            .route(PATH, routing::get(summaries))
            .with_state(Arc::clone(&world));
        let server = tokio::spawn(async move { axum::serve(listener, router).await });
        Ok(Self {
            address,
            world,
            server,
        })
    }

    /// Where it listens.
    pub(super) fn base_url(&self) -> String {
        format!("http://{}{PATH}", self.address)
    }

    /// Turns the day: from now on the feed serves what was known then.
    pub(super) fn set_today(&self, today: NaiveDate) {
        let known = as_known_on(&self.world.record, self.world.year, today);
        *self
            .world
            .known
            .lock()
            .unwrap_or_else(PoisonError::into_inner) = known;
    }
}

impl Drop for FeedServer {
    fn drop(&mut self) {
        self.server.abort();
    }
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
struct Asked {
    start_date: NaiveDate,
    end_date: NaiveDate,
}

/// The archive's form: every value a string padded on the left, an element without a value absent.
async fn summaries(
    State(world): State<Arc<World>>,
    Query(asked): Query<Asked>,
) -> impl IntoResponse {
    let known = world.known.lock().unwrap_or_else(PoisonError::into_inner);
    let rows: Vec<Value> = known
        .iter()
        .filter(|day| (asked.start_date..=asked.end_date).contains(&day.date))
        .map(summary)
        .collect();
    (
        [(CONTENT_TYPE, "application/json")],
        Value::from(rows).to_string(),
    )
}

fn summary(day: &ReceivedDay) -> Value {
    let mut row = Map::new();
    row.insert("DATE".to_owned(), json!(day.date));
    row.insert("STATION".to_owned(), json!(STATION));
    for (element, value) in [("TMAX", day.max), ("TMIN", day.min)] {
        if let Some(value) = value {
            row.insert(element.to_owned(), json!(format!("{value:7.1}")));
            row.insert(format!("{element}_ATTRIBUTES"), json!(",,W,2400"));
        }
    }
    Value::Object(row)
}
