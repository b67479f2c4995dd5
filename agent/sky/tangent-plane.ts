/** A place on the sky. */
export interface SkyPlace {
  readonly raHours: number;
  readonly decDegrees: number;
}

/** A small offset on the sky, true arcseconds, east and north positive. */
export interface SkyOffset {
  readonly eastArcsec: number;
  readonly northArcsec: number;
}

const degrees = Math.PI / 180;
const arcsecPerRadian = 3600 / degrees;

/**
 * Where `place` lies as seen from `centre`, on the plane that touches the sphere there.
 * Source: gnomonic projection, e.g. Green, Spherical Astronomy (1985), ch. 13.
 */
export function offsetFrom(centre: SkyPlace, place: SkyPlace): SkyOffset {
  const dRa = (place.raHours - centre.raHours) * 15 * degrees;
  const dec = place.decDegrees * degrees;
  const dec0 = centre.decDegrees * degrees;
  const depth = Math.sin(dec) * Math.sin(dec0) + Math.cos(dec) * Math.cos(dec0) * Math.cos(dRa);
  return {
    eastArcsec: ((Math.cos(dec) * Math.sin(dRa)) / depth) * arcsecPerRadian,
    northArcsec:
      ((Math.sin(dec) * Math.cos(dec0) - Math.cos(dec) * Math.sin(dec0) * Math.cos(dRa)) / depth) *
      arcsecPerRadian,
  };
}

/** The place that lies at that offset from `centre`: the inverse of `offsetFrom`. */
export function placeAt(centre: SkyPlace, offset: SkyOffset): SkyPlace {
  const x = offset.eastArcsec / arcsecPerRadian;
  const y = offset.northArcsec / arcsecPerRadian;
  const dec0 = centre.decDegrees * degrees;
  const depth = Math.cos(dec0) - y * Math.sin(dec0);
  const raHours = centre.raHours + Math.atan2(x, depth) / degrees / 15;
  return {
    raHours: ((raHours % 24) + 24) % 24,
    decDegrees: Math.atan2(Math.sin(dec0) + y * Math.cos(dec0), Math.hypot(x, depth)) / degrees,
  };
}
