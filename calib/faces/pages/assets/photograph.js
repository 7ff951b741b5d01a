// A photograph is made small on the phone before it is sent: what the camera wrote beside the picture goes with that.
// Without this it is sent as it is, and the server leaves out all but the picture.
const LONGEST = 2000; // pixels of a side
const QUALITY = 0.85;

async function small(file) {
  const picture = await createImageBitmap(file, {imageOrientation: 'from-image'});
  const scale = Math.min(1, LONGEST / Math.max(picture.width, picture.height));
  const canvas = document.createElement('canvas');
  canvas.width = Math.round(picture.width * scale);
  canvas.height = Math.round(picture.height * scale);
  canvas.getContext('2d').drawImage(picture, 0, 0, canvas.width, canvas.height);
  const blob = await new Promise(done => canvas.toBlob(done, 'image/jpeg', QUALITY));
  return blob && new File([blob], file.name.replace(/\.[^.]*$/, '') + '.jpg', {type: 'image/jpeg', lastModified: file.lastModified});
}

for (const form of document.querySelectorAll('form[data-photograph]')) {
  const input = form.querySelector('input[type=file]');
  input.addEventListener('change', async () => {
    const [file] = input.files;
    if (!file) return;
    const button = form.querySelector('button');
    button.disabled = true;
    try {
      const made = await small(file);
      if (made && input.files[0] === file) {
        const chosen = new DataTransfer();
        chosen.items.add(made);
        input.files = chosen.files;
      }
    } catch { // a kind that this browser cannot draw: it is sent as it is
    }
    button.disabled = false;
  });
}
