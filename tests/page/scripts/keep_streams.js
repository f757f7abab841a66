const ask = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
window.streams = [];
navigator.mediaDevices.getUserMedia = async (asked) => {
  const stream = await ask(asked);
  window.streams.push(stream);
  return stream;
};
