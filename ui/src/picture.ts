// SPDX-License-Identifier: Apache-2.0
// Photographs are made small in the browser. What the camera wrote beside the picture, its position above all, is left
// behind by drawing it anew; only when somebody asks for the position is that part of the file carried over.

export const longestSide = 2000;

/** The Exif part of a JPEG as it stands in the file, marker and length included; null: there is none. */
export function exifOf(b: Uint8Array): Uint8Array | null {
	if (b[0] !== 0xff || b[1] !== 0xd8) {
		return null;
	}
	for (let at = 2; at + 4 <= b.length && b[at] === 0xff;) {
		const marker = b[at + 1] as number;
		const length = ((b[at + 2] as number) << 8) | (b[at + 3] as number);
		if (marker === 0xda || length < 2 || at + 2 + length > b.length) {
			return null;
		}
		const head = String.fromCharCode(...b.subarray(at + 4, at + 8));
		if (marker === 0xe1 && head === "Exif") {
			return b.slice(at, at + 2 + length);
		}
		at += 2 + length;
	}
	return null;
}

/** The picture is drawn upright, so the old turn must not be applied again: tag 0x0112 becomes 1. */
function upright(exif: Uint8Array): Uint8Array {
	const tiff = 10;
	const little = exif[tiff] === 0x49;
	const v = new DataView(exif.buffer, exif.byteOffset, exif.byteLength);
	const ifd = tiff + v.getUint32(tiff + 4, little);
	if (ifd + 2 > exif.length) {
		return exif;
	}
	const entries = v.getUint16(ifd, little);
	for (let i = 0; i < entries && ifd + 14 + i * 12 <= exif.length; i++) {
		const at = ifd + 2 + i * 12;
		if (v.getUint16(at, little) === 0x0112) {
			v.setUint16(at + 8, 1, little);
		}
	}
	return exif;
}

function joined(jpeg: Uint8Array, exif: Uint8Array): Blob {
	const part = upright(exif);
	return new Blob([jpeg.slice(0, 2), part as BlobPart, jpeg.slice(2)], { type: "image/jpeg" });
}

export async function made(file: Blob, name: string, keepPosition: boolean): Promise<Blob> {
	const picture = await createImageBitmap(file, { imageOrientation: "from-image" }).catch(() => {
		throw new Error(`${name} is no picture that this browser can read; take a JPEG or PNG`);
	});
	const scale = Math.min(1, longestSide / Math.max(picture.width, picture.height));
	const canvas = document.createElement("canvas");
	canvas.width = Math.max(1, Math.round(picture.width * scale));
	canvas.height = Math.max(1, Math.round(picture.height * scale));
	const pen = canvas.getContext("2d");
	if (!pen) {
		throw new Error("This browser cannot draw the photograph smaller.");
	}
	pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
	picture.close();
	const jpeg = await new Promise<Blob>((yes, no) =>
		canvas.toBlob((b) => (b ? yes(b) : no(new Error("The photograph cannot be written."))), "image/jpeg", 0.85),
	);
	if (!keepPosition) {
		return jpeg;
	}
	const exif = exifOf(new Uint8Array(await file.arrayBuffer()));
	return exif ? joined(new Uint8Array(await jpeg.arrayBuffer()), exif) : jpeg;
}
