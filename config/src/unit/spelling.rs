//! What people write for a unit that is spelled otherwise here.

/// The listed spelling of a unit that was written in another one; never a unit of another size.
pub(super) fn listed(unit: &str) -> Option<&'static str> {
    let listed = match unit.to_lowercase().as_str() {
        "degc" | "deg c" | "deg. c" | "celsius" | "centigrade" | "ºc" | "˚c" | "℃" => "C",
        "degf" | "deg f" | "deg. f" | "fahrenheit" | "ºf" | "˚f" | "℉" => "F",
        "kelvin" | "kelvins" | "°k" | "degk" => "K",
        "sec" | "secs" | "sec." | "second" | "seconds" => "s",
        "mins" | "min." | "minute" | "minutes" => "min",
        "hr" | "hrs" | "hour" | "hours" => "h",
        // Both signs for micro: U+00B5 and the Greek letter.
        "µm" | "μm" | "micron" | "microns" | "micrometre" | "micrometres" => "um",
        "millimetre" | "millimetres" | "millimeter" | "millimeters" => "mm",
        "centimetre" | "centimetres" | "centimeter" | "centimeters" => "cm",
        "metre" | "metres" | "meter" | "meters" => "m",
        "inch" | "inches" | "in." | "\"" | "″" => "in",
        "foot" | "feet" | "ft." | "'" | "′" => "ft",
        "fpm" | "ft/minute" | "feet/min" | "ft per min" | "ft/m" => "ft/min",
        "ipm" | "in/minute" | "inch/min" | "inches/min" | "in per min" => "in/min",
        "mpm" | "m/minute" | "metres/min" | "meters/min" | "m per min" => "m/min",
        "m/sec" | "mps" => "m/s",
        "cm/sec" => "cm/s",
        "gsm" | "g/m²" | "g/m^2" | "g/sqm" | "g m-2" => "g/m2",
        "oz" | "oz/yd²" | "oz/yd^2" | "oz/sqyd" | "oz/sq yd" | "osy" => "oz/yd2",
        "percent" | "per cent" | "pct" | "％" => "%",
        _ => return None,
    };
    Some(listed)
}
