// The plot library, as its script defines it, and what of the page may be looked at from outside.
type Plotter = import("../vendor/uplot/uPlot");
type PlotterOptions = import("../vendor/uplot/uPlot").Options;
type PlotterData = import("../vendor/uplot/uPlot").AlignedData;

interface Window {
  report: object;
}
