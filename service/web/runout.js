// Look-ups in the runout section of a report.

/** The plane of a name; undefined if it has no position. */
export function planeOf(runout, name) {
  return runout.planes.find((one) => one.plane === name);
}

/** The prediction of a plane by its subject; undefined if a contributor is not known. */
export function prediction(plane, of = "assemblies") {
  return plane?.predictions.find((one) => one.of === of);
}

/** A quantile of a prediction in µm; undefined if it is not known. */
export function quantile(plane, name, of = "assemblies") {
  return prediction(plane, of)?.quantiles_um[name];
}
