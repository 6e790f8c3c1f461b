//! The browser's side of the app: everything that is asked of the browser is asked here, and nowhere else.
//!
//! The rest of the app thinks; these modules do. Each is one small thing with a typed error, knows nothing of lists,
//! runs or kitchens, and nothing of how the app is drawn. What a browser lacks is an answer (`None`, `Unsupported`),
//! never a panic: a phone in a kitchen is often an old phone.
//!
//! Whatever listens stops listening when it is dropped.

pub mod address;
pub mod camera;
pub mod clock;
pub mod files;
pub mod frame;
pub mod http;
pub mod install;
mod js;
pub mod live;
pub mod locale;
pub mod locks;
pub mod online;
pub mod persist;
pub mod random;
pub mod share;
pub mod storage;
pub mod tabs;
pub mod updates;
pub mod wake;
