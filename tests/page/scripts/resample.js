async ({ rate, sound }) => {
  const { Resampler } = await import("/static/resampler.js");
  const resampler = new Resampler(rate);
  const out = [];
  for (let i = 0; i < sound.length; i += 128) {
    out.push(...resampler.push(Float32Array.from(sound.slice(i, i + 128))));
  }
  return [out, resampler.half];
}
