//! The camera, for reading the code of an invitation: frames as brightness, to be read elsewhere, or the browser's own
//! reader where it has one.

use js_sys::{Array, Function, Reflect};
use thiserror::Error;
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::{
    Blob, CanvasRenderingContext2d, HtmlCanvasElement, HtmlVideoElement, ImageBitmap, MediaStream, MediaStreamTrack,
};

use super::js;

/// Why there is no picture.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum CameraError {
    /// This browser lends no camera here (no secure connection, or an old one).
    #[error("this browser lends no camera here")]
    Unsupported,
    /// The person, or a setting, said no.
    #[error("the camera may not be used")]
    Denied,
    /// There is none.
    #[error("there is no camera")]
    Missing,
    /// Another app has it.
    #[error("the camera is in use")]
    Busy,
    /// Anything else, in the browser's own words.
    #[error("the camera failed: {0}")]
    Other(String),
}

/// One picture as brightness, row by row from the top left, one byte for each point.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Frame {
    /// Points in a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// `width` x `height` bytes, 0 black to 255 white.
    pub bytes: Vec<u8>,
}

/// The camera at the back of the phone, shown in a `<video>`. Dropping it turns it off.
pub struct Camera {
    video: HtmlVideoElement,
    stream: MediaStream,
    canvas: Canvas,
}

impl Camera {
    /// Turns the camera on, after the browser has asked the person, and shows it in `video`. Let it finish: given up
    /// half way, it could leave the camera on.
    ///
    /// # Errors
    ///
    /// [`CameraError`].
    pub async fn open(video: &HtmlVideoElement) -> Result<Self, CameraError> {
        let canvas = Canvas::new()?;
        let devices = js::navigator().and_then(|navigator| js::get(&navigator, "mediaDevices"));
        let devices = devices.ok_or(CameraError::Unsupported)?;
        let stream = js::ask(&devices, "getUserMedia", &[wanted()]).await.map_err(failed)?;
        let camera = Self { video: video.clone(), stream: stream.unchecked_into(), canvas };
        camera.show().await?;
        Ok(camera)
    }

    async fn show(&self) -> Result<(), CameraError> {
        // Without these an iPhone shows its own player over the whole page.
        self.video.set_muted(true);
        self.video.set_attribute("playsinline", "").map_err(failed)?;
        self.video.set_src_object(Some(&self.stream));
        let playing = self.video.play().map_err(failed)?;
        JsFuture::from(playing).await.map(|_| ()).map_err(failed)
    }

    /// What the camera sees now, its longer side at most `longest` points; nothing before its first picture.
    #[must_use]
    pub fn frame(&self, longest: u32) -> Option<Frame> {
        let (width, height) = fit(self.video.video_width(), self.video.video_height(), longest)?;
        self.canvas.draw(width, height, |context| {
            context.draw_image_with_html_video_element_and_dw_and_dh(&self.video, 0.0, 0.0, width.into(), height.into())
        })
    }

    /// Turns the camera off, as dropping it does.
    pub fn stop(self) {
        drop(self);
    }
}

impl Drop for Camera {
    fn drop(&mut self) {
        for track in self.stream.get_tracks().iter() {
            track.unchecked_into::<MediaStreamTrack>().stop();
        }
        self.video.set_src_object(None);
    }
}

/// A picture from a file, its longer side at most `longest` points, for a photo of a code.
///
/// # Errors
///
/// `Unsupported`, or `Other` where it is no picture.
pub async fn picture(file: &Blob, longest: u32) -> Result<Frame, CameraError> {
    let window = js::window().ok_or(CameraError::Unsupported)?;
    let bitmap = window.create_image_bitmap_with_blob(file).map_err(failed)?;
    let bitmap: ImageBitmap = JsFuture::from(bitmap).await.map_err(failed)?.unchecked_into();
    let (width, height) = fit(bitmap.width(), bitmap.height(), longest).ok_or(CameraError::Unsupported)?;
    let frame = Canvas::new()?.draw(width, height, |context| {
        context.draw_image_with_image_bitmap_and_dw_and_dh(&bitmap, 0.0, 0.0, width.into(), height.into())
    });
    bitmap.close();
    frame.ok_or(CameraError::Unsupported)
}

/// The browser's own reader of codes.
pub struct Detector {
    detector: JsValue,
}

impl Detector {
    /// The reader, where the browser has one that reads QR codes.
    pub async fn new() -> Option<Self> {
        let constructor: Function = js::get(&js_sys::global(), "BarcodeDetector")?.dyn_into().ok()?;
        let formats: Array = js::ask(&constructor, "getSupportedFormats", &[]).await.ok()?.dyn_into().ok()?;
        let format = JsValue::from_str("qr_code");
        if !formats.includes(&format, 0) {
            return None;
        }
        let options = js::object(&[("formats", Array::of1(&format).into())]);
        let detector = Reflect::construct(&constructor, &Array::of1(&options)).ok()?;
        Some(Self { detector })
    }

    /// The text of a code in what the camera sees now.
    pub async fn read(&self, camera: &Camera) -> Option<String> {
        let found = js::ask(&self.detector, "detect", &[camera.video.clone().into()]).await.ok()?;
        found.dyn_ref::<Array>()?.iter().find_map(|code| js::text(&code, "rawValue"))
    }
}

/// A canvas that is not shown, to read pictures from.
struct Canvas {
    canvas: HtmlCanvasElement,
    context: CanvasRenderingContext2d,
}

impl Canvas {
    fn new() -> Result<Self, CameraError> {
        let document = js::document().ok_or(CameraError::Unsupported)?;
        let canvas: HtmlCanvasElement = document.create_element("canvas").map_err(failed)?.unchecked_into();
        let options = js::object(&[("willReadFrequently", true.into())]);
        let context = canvas.get_context_with_context_options("2d", &options).map_err(failed)?;
        let context = context.ok_or(CameraError::Unsupported)?.unchecked_into();
        Ok(Self { canvas, context })
    }

    fn draw(
        &self,
        width: u32,
        height: u32,
        draw: impl FnOnce(&CanvasRenderingContext2d) -> Result<(), JsValue>,
    ) -> Option<Frame> {
        if (self.canvas.width(), self.canvas.height()) != (width, height) {
            self.canvas.set_width(width);
            self.canvas.set_height(height);
        }
        draw(&self.context).ok()?;
        let data = self.context.get_image_data(0.0, 0.0, width.into(), height.into()).ok()?;
        Some(Frame { width, height, bytes: brightness(&data.data()) })
    }
}

fn wanted() -> JsValue {
    let ideal = |value: JsValue| JsValue::from(js::object(&[("ideal", value)]));
    let video = js::object(&[
        ("facingMode", ideal("environment".into())),
        ("width", ideal(1280.into())),
        ("height", ideal(720.into())),
    ]);
    js::object(&[("audio", false.into()), ("video", video.into())]).into()
}

fn failed(error: JsValue) -> CameraError {
    match js::error_name(&error).as_str() {
        "NotAllowedError" | "SecurityError" => CameraError::Denied,
        "NotFoundError" | "OverconstrainedError" => CameraError::Missing,
        "NotReadableError" | "AbortError" => CameraError::Busy,
        _ => CameraError::Other(js::error_text(&error)),
    }
}

/// The size of a picture when its longer side is brought down to `longest`; nothing where there is no picture.
fn fit(width: u32, height: u32, longest: u32) -> Option<(u32, u32)> {
    let side = width.max(height);
    if width == 0 || height == 0 || longest == 0 {
        return None;
    }
    if side <= longest {
        return Some((width, height));
    }
    let scale = |length: u32| {
        let scaled = u64::from(length) * u64::from(longest) / u64::from(side);
        u32::try_from(scaled).unwrap_or(longest).max(1)
    };
    Some((scale(width), scale(height)))
}

/// Brightness from red, green, blue and alpha, by the weights of ITU-R BT.601 in 256ths `[memory]`.
fn brightness(rgba: &[u8]) -> Vec<u8> {
    let of = |point: &[u8; 4]| {
        let [red, green, blue, _] = point.map(u32::from);
        u8::try_from((77 * red + 150 * green + 29 * blue) >> 8).unwrap_or(u8::MAX)
    };
    rgba.as_chunks::<4>().0.iter().map(of).collect()
}

#[cfg(test)]
mod tests {
    use super::{brightness, fit};

    #[test]
    fn pictures_are_brought_down_but_never_up() {
        let table = [
            ((1280, 720, 640), Some((640, 360))),
            ((320, 240, 640), Some((320, 240))),
            ((4000, 1, 100), Some((100, 1))),
            ((0, 720, 640), None),
            ((1280, 720, 0), None),
        ];
        for ((width, height, longest), answer) in table {
            assert_eq!(fit(width, height, longest), answer);
        }
    }

    #[test]
    fn white_is_bright_and_black_is_dark() {
        let rgba = [255, 255, 255, 255, 0, 0, 0, 255, 0, 255, 0, 255, 7];
        assert_eq!(brightness(&rgba), [255, 0, 149]);
    }
}
