// Takes the README's pictures anew, into docs/: `npm run pictures` in this folder.

import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { openBrowser } from './station.js';
import { takePictures } from './screens.js';

const docs = join(dirname(fileURLToPath(import.meta.url)), '..', '..', 'docs');
const browser = await openBrowser();
try {
  for (const name of await takePictures(browser, docs)) console.log(`docs/${name}`);
} finally {
  await browser.close();
}
