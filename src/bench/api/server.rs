//! The server: connections, and what is done for each request [BA-08] [BA-09].

use super::asked::{Asked, name_in, query_of};
use super::connection::{PATIENCE, connection};
use super::document::{document, word};
use super::guard::{self, Token};
use super::problem::Problem;
use super::routes::{Method, Next, ROUTES, Route, Told};
use super::stream::{Events, pair};
use crate::bench::driven::{Answer, Order};
use crate::bench::{BenchPlan, Orders};
use axum::Router;
use axum::body::{Body, Bytes, to_bytes};
use axum::http::{HeaderValue, Request, Response, StatusCode, header};
use axum::routing::{MethodFilter, MethodRouter, on};
use core::time::Duration;
use serde_json::Value as Json;
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio::sync::{Semaphore, oneshot};
use tokio::time::{sleep, timeout};

/// Most connections at a time.
const MOST_CONNECTIONS: usize = 32;
/// Longest body, octets.
const LONGEST_BODY: usize = 16 * 1024;
/// The wait after the system could not let anybody in.
const ACCEPT_AGAIN: Duration = Duration::from_millis(100);

/// What every request is answered with.
pub struct Shared {
    pub plan: BenchPlan,
    pub orders: Orders,
    pub token: Option<Token>,
}

/// The routes with their handlers.
pub fn router(shared: &Arc<Shared>) -> Router {
    let mut router = Router::new();
    let mut paths: Vec<&'static str> = Vec::new();
    for route in ROUTES {
        if !paths.contains(&route.path) {
            paths.push(route.path);
        }
    }
    for path in paths {
        let mut of_path: MethodRouter = MethodRouter::new();
        for route in ROUTES.iter().filter(|r| r.path == path) {
            let shared = Arc::clone(shared);
            let filter = match route.method {
                Method::Get => MethodFilter::GET,
                Method::Post => MethodFilter::POST,
                Method::Put => MethodFilter::PUT,
                Method::Delete => MethodFilter::DELETE,
            };
            let handler = move |request: Request<Body>| {
                let shared = Arc::clone(&shared);
                async move { serve(&shared, route, request).await.unwrap_or_else(|p| p.answer()) }
            };
            of_path = of_path.merge(on(filter, handler));
        }
        router = router.route(path, of_path);
    }
    let no_method = || async {
        Problem::new(
            StatusCode::METHOD_NOT_ALLOWED,
            "finding what is asked",
            "this path is not asked by this method",
            "see GET /openapi.json; the header Allow tells the methods",
        )
        .answer()
    };
    let no_path = || async {
        Problem::new(
            StatusCode::NOT_FOUND,
            "finding what is asked",
            "there is no such path",
            "see GET /openapi.json: it tells all of them",
        )
        .answer()
    };
    router.method_not_allowed_fallback(no_method).fallback(no_path)
}

/// Does what is asked.
async fn serve(
    shared: &Shared,
    route: &'static Route,
    request: Request<Body>,
) -> Result<Response<Body>, Problem> {
    let doing = format!("{} {}", word(route.method).to_uppercase(), route.path);
    guard::check(request.headers(), shared.token.as_ref())?;
    let bad = |wrong: &str| {
        let next = "encode the address in UTF-8, signs that mean something else as % and two hex digits";
        Problem::new(StatusCode::BAD_REQUEST, doing.clone(), wrong, next)
    };
    let uri = request.uri();
    let name = name_in(route.path, uri.path()).ok_or_else(|| bad("its path is no text"))?;
    let query = query_of(uri.query().unwrap_or("")).ok_or_else(|| bad("its query is no text"))?;
    let body = match route.body {
        Some(_) => json_body(&doing, request).await?,
        None => Json::Null,
    };
    let asked = Asked { doing, name, query, body };
    let known: Vec<&str> = route.query.iter().map(|p| p.name).collect();
    asked.check_query(&known)?;
    match (route.act)(&shared.plan, &asked)? {
        Next::Tell(json) => Ok(answer("application/json", json.to_string())),
        Next::Document => Ok(answer("application/json", document().to_string())),
        Next::Ask(order, told) => Ok(match told(ask(shared, &asked.doing, order).await?) {
            Told::Json(json) => answer("application/json", json.to_string()),
            Told::Csv(text) => answer("text/csv", text),
        }),
        Next::Stream { quantities, period } => {
            let (reader, news) = pair();
            let order = Order::Stream { quantities, period, reader };
            match ask(shared, &asked.doing, order).await? {
                Answer::Tracing(plan) => Ok(answer("text/event-stream", Body::new(Events::new(news, plan)))),
                _ => Err(ended(&asked.doing)),
            }
        }
    }
}

fn answer(kind: &'static str, body: impl Into<Body>) -> Response<Body> {
    let mut answer = Response::new(body.into());
    let headers = answer.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static(kind));
    // What was read a moment ago is not what is now.
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    headers.insert(header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    answer
}

fn ended(doing: &str) -> Problem {
    Problem::not_ordered(doing, crate::bench::NotOrdered::Ended)
}

/// Asks the bench, and waits for what it says.
async fn ask(shared: &Shared, doing: &str, order: Order) -> Result<Answer, Problem> {
    let (tell, told) = oneshot::channel();
    // Nobody waits any more where the connection is closed.
    let reply = Box::new(move |answer| drop(tell.send(answer)));
    shared.orders.order(order, reply).map_err(|why| Problem::not_ordered(doing, why))?;
    match told.await {
        Ok(answer) => answer.map_err(|refusal| Problem::refused(doing, refusal)),
        Err(_) => Err(ended(doing)),
    }
}

/// The JSON of a body.
async fn json_body(doing: &str, request: Request<Body>) -> Result<Json, Problem> {
    let refused = |status, wrong: String, next: &str| Err(Problem::new(status, doing, wrong, next));
    let kind = request.headers().get(header::CONTENT_TYPE).and_then(|k| k.to_str().ok()).unwrap_or("");
    let essence = kind.split(';').next().unwrap_or("").trim();
    if !essence.eq_ignore_ascii_case("application/json") {
        let wrong = "its body is not said to be JSON".to_owned();
        return refused(
            StatusCode::UNSUPPORTED_MEDIA_TYPE,
            wrong,
            "send the header Content-Type: application/json",
        );
    }
    let too_long = || format!("its body is longer than {LONGEST_BODY} octets");
    let length =
        request.headers().get(header::CONTENT_LENGTH).and_then(|l| l.to_str().ok()?.parse::<u64>().ok());
    if length.is_some_and(|l| l > LONGEST_BODY as u64) {
        return refused(StatusCode::PAYLOAD_TOO_LARGE, too_long(), "send less");
    }
    let octets: Bytes = match timeout(PATIENCE, to_bytes(request.into_body(), LONGEST_BODY + 1)).await {
        Err(_) => {
            let wrong = format!("its body did not come within {} s", PATIENCE.as_secs());
            return refused(StatusCode::REQUEST_TIMEOUT, wrong, "send it at once");
        }
        Ok(Ok(octets)) if octets.len() <= LONGEST_BODY => octets,
        Ok(Ok(_)) => return refused(StatusCode::PAYLOAD_TOO_LARGE, too_long(), "send less"),
        Ok(Err(e)) => {
            // Nothing but the bound comes with a source that says so.
            return match e.to_string().contains("length limit") {
                true => refused(StatusCode::PAYLOAD_TOO_LARGE, too_long(), "send less"),
                false => refused(StatusCode::BAD_REQUEST, "its body broke off".to_owned(), "send all of it"),
            };
        }
    };
    match serde_json::from_slice(&octets) {
        Ok(json) => Ok(json),
        Err(e) => {
            refused(StatusCode::BAD_REQUEST, format!("its body is no JSON: {e}"), "send one JSON object")
        }
    }
}

/// Serves until `stop` is told, or its other end is dropped.
pub async fn listen(listener: TcpListener, shared: Shared, stop: oneshot::Receiver<()>) {
    let router = router(&Arc::new(shared));
    let room = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    let accept = async {
        loop {
            let Ok((stream, _)) = listener.accept().await else {
                sleep(ACCEPT_AGAIN).await;
                continue;
            };
            // Beyond the bound it is closed at once.
            let Ok(permit) = Arc::clone(&room).try_acquire_owned() else { continue };
            let _ = stream.set_nodelay(true);
            tokio::spawn(connection(stream, permit, router.clone()));
        }
    };
    tokio::select! {
        () = accept => {}
        _ = stop => {}
    }
}
