declare module "htmx.org/dist/htmx.esm.js" {
  interface Swap {
    source: Element;
    target: string;
    swap: string;
    headers: Record<string, string>;
  }
  const htmx: { ajax(verb: string, path: string, options: Swap): Promise<void> };
  export default htmx;
}
