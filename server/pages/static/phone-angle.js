// The angle between two edges, by holding the phone's long side along one and then the other.
// Angles of W3C DeviceOrientation: alpha about z, then beta about x', then gamma about y'' [degrees].
const RAD = Math.PI / 180;

// Where the phone's top points, in the world: the second column of Rz(alpha) Rx(beta) Ry(gamma).
// Turning about that very axis (gamma) does not move it.
export const topOf = ({ alpha, beta }) => {
  const a = alpha * RAD, b = beta * RAD;
  return [-Math.sin(a) * Math.cos(b), Math.cos(a) * Math.cos(b), Math.sin(b)];
};
// The included angle of two directions [degrees], 0 to 180.
export const included = (one, other) => {
  const [p, q] = [topOf(one), topOf(other)];
  const dot = p[0] * q[0] + p[1] * q[1] + p[2] * q[2];
  const cross = Math.hypot(p[1] * q[2] - p[2] * q[1], p[2] * q[0] - p[0] * q[2], p[0] * q[1] - p[1] * q[0]);
  return Math.atan2(cross, dot) / RAD;
};
export const canMeasure = () => isSecureContext && "DeviceOrientationEvent" in window;

// Asks for leave where the phone wants it, then hands on how it lies. Returns the way to stop; throws words.
export const watch = async (told) => {
  if (typeof DeviceOrientationEvent.requestPermission === "function"
    && await DeviceOrientationEvent.requestPermission() !== "granted")
    throw new Error("This phone was told not to give its angle away: allow motion for this page, then press again.");
  const heard = (event) => { if (event.alpha !== null && event.beta !== null) told(event); };
  addEventListener("deviceorientation", heard);
  return () => removeEventListener("deviceorientation", heard);
};
